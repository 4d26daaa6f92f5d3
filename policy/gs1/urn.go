package gs1

import "strings"

const epc = "urn:epc:"

// scheme is a kind of EPC urn: what the digits of company and item make, and
// where the rest goes.
type scheme struct {
	ai     string
	digits int    // of company and item together
	rest   string // the identifier of the last part; empty: it is a part of the value
	front  bool   // the first digit of the item moves to the front of the key
	zero   bool   // a last part of 0 means that there is none
}

// schemes: GS1 EPC Tag Data Standard, the pure identity urns of these keys.
var schemes = map[string]scheme{
	"class:lgtin": {ai: "01", digits: 13, rest: "10", front: true},
	"id:sgtin":    {ai: "01", digits: 13, rest: "21", front: true},
	"id:sscc":     {ai: "00", digits: 17, front: true},
	"id:sgln":     {ai: "414", digits: 12, rest: "254", zero: true},
	"id:grai":     {ai: "8003", digits: 12},
	"id:giai":     {ai: "8004"},
}

// urn reads an EPC urn: urn:epc:class:lgtin:4012345.012345.998877.
func urn(text string) ([]piece, error) {
	parts := strings.SplitN(text[len(epc):], ":", 3)
	if len(parts) < 3 {
		return nil, broken(text, len(epc), "", RuleForm, "an EPC urn names its scheme and its key")
	}
	s, ok := schemes[parts[0]+":"+parts[1]]
	if !ok {
		return nil, broken(text, len(epc), "", RuleForm, "%s:%s is no scheme that is read here", parts[0], parts[1])
	}
	from := len(text) - len(parts[2])
	company, rest, _ := strings.Cut(parts[2], ".")
	if len(company) < 6 || len(company) > 12 || !allDigits(company) {
		return nil, broken(text, from, s.ai, RuleLength, "the company prefix is %q, must be 6 to 12 digits", company)
	}
	if s.ai == "8004" {
		p := piece{Element: Element{AI: s.ai}, at: from, from: from}
		err := p.decode(text, rest)
		p.Value, p.escaped = company+p.Value, true
		return []piece{p}, err
	}
	return s.key(text, from, company, rest)
}

// key puts a key with a check digit together.
func (s scheme) key(text string, from int, company, rest string) ([]piece, error) {
	item, last, more := strings.Cut(rest, ".")
	if n := len(company) + len(item); n != s.digits || s.front && item == "" {
		return nil, broken(text, from, s.ai, RuleLength, "company and item have %d digits, must have %d", n, s.digits)
	}
	if item != "" && !allDigits(item) {
		return nil, broken(text, from+len(company)+1, s.ai, RuleCharacter, "%q is not all digits", item)
	}
	if more != (s.ai != "00") {
		return nil, broken(text, from, s.ai, RuleForm, "this urn has not the parts of its scheme")
	}
	body := company + item
	if s.front {
		body = item[:1] + company + item[1:]
	}
	digit, _ := CheckDigit(body)
	p := piece{Element{s.ai, body + string(digit)}, from, from, true}
	if !more {
		return []piece{p}, nil
	}
	r := piece{Element: Element{AI: s.rest}, at: len(text) - len(last), from: len(text) - len(last)}
	if err := r.decode(text, last); err != nil {
		return nil, err
	}
	switch {
	case s.rest == "":
		p.Value = "0" + p.Value + r.Value
		return []piece{p}, nil
	case s.zero && last == "0":
		return []piece{p}, nil
	}
	return []piece{p, r}, nil
}
