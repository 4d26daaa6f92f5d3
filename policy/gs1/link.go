package gs1

import (
	"slices"
	"strings"
)

// resolver is the domain under which GS1 itself resolves links; any other
// domain may carry the same path.
const resolver = "https://id.gs1.org"

// linkKeys are the identifiers that begin the path of a link, with those that
// may follow in it, in their order.
var linkKeys = map[string][]string{"00": nil, "01": {"22", "10", "21"}, "414": {"254"}, "8003": nil, "8004": nil, "8006": {"22", "10", "21"}}

func isLink(text string) bool {
	return strings.HasPrefix(text, "https://") || strings.HasPrefix(text, "http://")
}

// address takes a link apart: host, where the path begins and ends, and where
// the query ends.
func address(text string) (host string, path, query, end int) {
	start := strings.Index(text, "://") + 3
	end = len(text)
	if i := strings.IndexByte(text, '#'); i >= 0 {
		end = i
	}
	query = end
	if i := strings.IndexByte(text[:end], '?'); i >= 0 {
		query = i
	}
	path = query
	if i := strings.IndexByte(text[start:query], '/'); i >= 0 {
		path = start + i
	}
	return text[start:max(start, path)], path, query, end
}

// link reads a GS1 Digital Link: …/01/04012345123456/10/998877?17=260310. Words
// in the query are for the resolver and no part of it.
func link(text string) ([]piece, error) {
	_, path, query, end := address(text)
	found, err := steps(text, path, query)
	if err != nil {
		return nil, err
	}
	for at := query + 1; at < end; {
		to := at + strings.IndexByte(text[at:end]+"&", '&')
		code, raw, ok := strings.Cut(text[at:to], "=")
		if ok && allDigits(code) {
			p := piece{Element: Element{AI: code}, at: at, from: at + len(code) + 1}
			if err := p.decode(text, raw); err != nil {
				return nil, err
			}
			found = append(found, p)
		}
		at = to + 1
	}
	return found, nil
}

// steps reads the path from the first key in it.
func steps(text string, path, query int) ([]piece, error) {
	var found []piece
	for at := path + 1; at < query; {
		to := at + strings.IndexByte(text[at:query]+"/", '/')
		code := text[at:to]
		_, begins := linkKeys[code]
		if len(found) == 0 && !begins { // the domain's own
			at = to + 1
			continue
		}
		if to >= query {
			return nil, broken(text, at, "", RuleForm, "%q has no value behind it", code)
		}
		p := piece{Element: Element{AI: code}, at: at, from: to + 1}
		to = p.from + strings.IndexByte(text[p.from:query]+"/", '/')
		if err := p.decode(text, text[p.from:to]); err != nil {
			return nil, err
		}
		if len(found) > 0 && !slices.Contains(linkKeys[found[0].AI], code) {
			return nil, broken(text, at, "", RuleForm, "%q does not belong into the path behind (%s)", code, found[0].AI)
		}
		found = append(found, p)
		at = to + 1
	}
	if len(found) == 0 {
		return nil, broken(text, path, "", RuleForm, "there is no GS1 key in the path")
	}
	return found, nil
}

// decode takes the percent signs out of a value and fills a GTIN up to fourteen
// digits.
func (p *piece) decode(text, raw string) error {
	var b strings.Builder
	for i := 0; i < len(raw); i++ {
		if raw[i] != '%' {
			b.WriteByte(raw[i])
			continue
		}
		if i+2 >= len(raw) || unhex(raw[i+1]) < 0 || unhex(raw[i+2]) < 0 {
			return broken(text, p.from+i, p.AI, RuleForm, "%% without two digits of its code")
		}
		b.WriteByte(byte(unhex(raw[i+1])<<4 | unhex(raw[i+2])))
		i += 2
	}
	p.Value = b.String()
	if p.AI == "01" && (len(p.Value) == 8 || len(p.Value) == 12 || len(p.Value) == 13) {
		p.Value = strings.Repeat("0", 14-len(p.Value)) + p.Value
	}
	p.escaped = p.Value != raw
	return nil
}

func unhex(c byte) int {
	switch {
	case isDigit(c):
		return int(c - '0')
	case c >= 'a' && c <= 'f':
		return int(c-'a') + 10
	case c >= 'A' && c <= 'F':
		return int(c-'A') + 10
	}
	return -1
}

// encode writes a value so that nothing in it means anything in an address.
func encode(value string) string {
	const hex = "0123456789ABCDEF"
	var b strings.Builder
	for i := range len(value) {
		switch c := value[i]; {
		case isDigit(c), c >= 'A' && c <= 'Z', c >= 'a' && c <= 'z', c == '-', c == '.', c == '_':
			b.WriteByte(c)
		default:
			b.Write([]byte{'%', hex[c>>4], hex[c&15]})
		}
	}
	return b.String()
}
