package gs1

import (
	"slices"
	"strings"
)

// Element is one application identifier with its value.
type Element struct {
	AI    string
	Value string
}

// Message is what one label says, in the order of the label.
type Message []Element

// Value returns the value of an application identifier, empty if it is not
// there: none may be empty.
func (m Message) Value(ai string) string {
	for _, e := range m {
		if e.AI == ai {
			return e.Value
		}
	}
	return ""
}

// Decimal returns the number of a measure, such as 12.50 kg of 3102, false if
// the element is none.
func (e Element) Decimal() (string, bool) {
	a, ok := lookUp(e.AI)
	if !ok || !a.decimals || len(e.Value) != 6 {
		return "", false
	}
	n := 6 - int(e.AI[3]-'0')
	whole := strings.TrimLeft(e.Value[:n], "0")
	if whole == "" {
		whole = "0"
	}
	if n == 6 {
		return whole, true
	}
	return whole + "." + e.Value[n:], true
}

// piece is an element and where it was found.
type piece struct {
	Element
	at      int  // byte of the text where the code begins
	from    int  // byte where the value begins
	escaped bool // the value is longer in the text: places in it are not known
}

func (p piece) place(i int) int {
	if p.escaped {
		return p.from
	}
	return p.from + i
}

// whole checks what was found and makes a message of it.
func whole(text string, found []piece) (Message, error) {
	if len(found) == 0 {
		return nil, broken(text, 0, "", RuleForm, "there is no application identifier in it")
	}
	m := make(Message, len(found))
	for i, p := range found {
		if err := p.check(text); err != nil {
			return nil, err
		}
		m[i] = p.Element
	}
	for i, p := range found {
		if slices.ContainsFunc(m[:i], func(e Element) bool { return e.AI == p.AI }) {
			return nil, broken(text, p.at, p.AI, RuleRepeat, "(%s) stands there twice", p.AI)
		}
		if a, _ := lookUp(p.AI); !m.has(a.needs) {
			return nil, broken(text, p.at, p.AI, RuleNeeds, "(%s) says nothing without (%s)", p.AI, strings.Join(a.needs, ") or ("))
		}
	}
	return m, nil
}

// has says whether any of the codes is there, or none is asked for.
func (m Message) has(codes []string) bool {
	return len(codes) == 0 || slices.ContainsFunc(m, func(e Element) bool { return slices.Contains(codes, e.AI) })
}

// check checks a value by itself.
func (p piece) check(text string) error {
	a, ok := lookUp(p.AI)
	if !ok {
		return broken(text, p.at, "", RuleIdentifier, "%q is no application identifier that is read here", p.AI)
	}
	if n := len(p.Value); n < a.min || n > a.max {
		return broken(text, p.place(min(n, a.max)), p.AI, RuleLength, "%d characters, must be %s", n, a.length())
	}
	for i := range len(p.Value) {
		c := p.Value[i]
		switch {
		case (a.numeric || i < a.check) && !isDigit(c):
			return broken(text, p.place(i), p.AI, RuleCharacter, "%q is no digit", p.Value[i:i+1])
		case !inSet82(c):
			return broken(text, p.place(i), p.AI, RuleCharacter, "%q is not in the GS1 character set", p.Value[i:i+1])
		}
	}
	if p.AI == "8003" && p.Value[0] != '0' {
		return broken(text, p.place(0), p.AI, RuleCharacter, "a returnable asset begins with 0")
	}
	if a.check > 0 {
		if want, _ := CheckDigit(p.Value[:a.check-1]); want != p.Value[a.check-1] {
			return broken(text, p.place(a.check-1), p.AI, RuleCheckDigit, "the check digit is %c, must be %c", p.Value[a.check-1], want)
		}
	}
	if a.date {
		if _, err := day(p.Value, 2000); err != "" {
			return broken(text, p.place(0), p.AI, RuleDate, "%s", err)
		}
	}
	return nil
}

func (a identifier) length() string {
	if a.min == a.max {
		return number(a.min)
	}
	return number(a.min) + " to " + number(a.max)
}
