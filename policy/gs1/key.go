package gs1

import "strings"

// Kind is a kind of GS1 key.
type Kind string

// The kinds.
const (
	GTIN Kind = "GTIN" // a trade item
	SSCC Kind = "SSCC" // a pallet or other logistic unit
	GLN  Kind = "GLN"  // a place or party
	GRAI Kind = "GRAI" // a returnable asset, such as a crate
	GIAI Kind = "GIAI" // an asset, such as a thermometer
)

// Key names one thing. Two keys are equal if they name the same, whatever form
// they came in.
type Key struct {
	Kind Kind
	// Number is the key itself with its check digit: 14 digits of a GTIN whatever
	// it was written with, 18 of an SSCC, 13 of a GLN, 14 of a GRAI.
	Number string
	Lot    string // of a GTIN; as written, capitals and small letters differ
	Serial string // of a GTIN or GRAI; the extension of a GLN
}

var kindOf = map[string]Kind{"00": SSCC, "01": GTIN, "414": GLN, "8003": GRAI, "8004": GIAI}

// Key returns what a message is about: the pallet before what is on it. False:
// it names nothing.
func (m Message) Key() (Key, bool) {
	for _, ai := range []string{"00", "01", "8003", "8004", "414"} {
		v := m.Value(ai)
		switch {
		case v == "":
		case ai == "01":
			return Key{GTIN, v, m.Value("10"), m.Value("21")}, true
		case ai == "414":
			return Key{GLN, v, "", m.Value("254")}, true
		case ai == "8003":
			return Key{GRAI, v[:14], "", v[14:]}, true
		default:
			return Key{Kind: kindOf[ai], Number: v}, true
		}
	}
	return Key{}, false
}

// Message returns the elements of a key, to be written in any form.
func (k Key) Message() Message {
	var m Message
	add := func(ai, v string) {
		if v != "" {
			m = append(m, Element{ai, v})
		}
	}
	switch k.Kind {
	case GTIN:
		add("01", k.Number)
		add("10", k.Lot)
		add("21", k.Serial)
	case SSCC:
		add("00", k.Number)
	case GLN:
		add("414", k.Number)
		add("254", k.Serial)
	case GRAI:
		add("8003", k.Number+k.Serial)
	case GIAI:
		add("8004", k.Number)
	}
	return m
}

// ParseKey reads the bare digits of a key of a known kind: a GTIN of 8, 12, 13
// or 14, an SSCC of 18, a GLN of 13, a GRAI of 13 or 14 with its serial behind
// them, a GIAI. The error is an *Error.
func ParseKey(kind Kind, text string) (Key, error) {
	p := piece{Element: Element{Value: text}}
	for ai, k := range kindOf {
		if k == kind {
			p.AI = ai
		}
	}
	filled := ""
	switch n := len(text); {
	case kind == GTIN && (n == 8 || n == 12 || n == 13):
		filled = strings.Repeat("0", 14-n)
	case kind == GTIN && n != 14:
		return Key{}, broken(text, 0, p.AI, RuleLength, "%d characters, must be 8, 12, 13 or 14", n)
	case kind == GRAI && n == 13:
		filled = "0"
	}
	p.Value, p.from = filled+text, -len(filled)
	if err := p.check(text); err != nil {
		return Key{}, err
	}
	k, _ := Message{p.Element}.Key()
	return k, nil
}
