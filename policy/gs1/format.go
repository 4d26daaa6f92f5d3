package gs1

import (
	"slices"
	"strings"
)

// Form is a way to write a label.
type Form int

// The forms. All are read; an EPC urn is read only, since it needs to know where
// the company prefix of a key ends.
const (
	Bracketed Form = iota // for people: (01)04012345123456(10)998877
	Scanned               // as a scanner sends it, separated where it must be
	Linked                // https://id.gs1.org/01/04012345123456/10/998877
)

// Format writes a message. The error is an *Error: what breaks a rule is not
// written.
func (m Message) Format(f Form) (string, error) {
	var b strings.Builder
	found := make([]piece, len(m))
	for i, e := range m {
		found[i] = piece{e, b.Len(), b.Len() + len(e.AI) + 2, strings.Contains(e.Value, "(")}
		b.WriteString("(" + e.AI + ")" + strings.ReplaceAll(e.Value, "(", `\(`))
	}
	if _, err := whole(b.String(), found); err != nil {
		return "", err
	}
	switch f {
	case Scanned:
		return m.scanned(), nil
	case Linked:
		return m.linked(b.String())
	}
	return b.String(), nil
}

func (m Message) scanned() string {
	var b strings.Builder
	for i, e := range m {
		b.WriteString(e.AI + e.Value)
		if a, _ := lookUp(e.AI); !a.fixed && i < len(m)-1 {
			b.WriteByte(separator)
		}
	}
	return b.String()
}

// linked writes key and qualifiers into the path and the rest behind it.
func (m Message) linked(text string) (string, error) {
	k := slices.IndexFunc(m, func(e Element) bool { _, key := linkKeys[e.AI]; return key })
	if k < 0 {
		return "", broken(text, 0, "", RuleForm, "a link begins with a key, and there is none")
	}
	qualifiers := linkKeys[m[k].AI]
	var b strings.Builder
	b.WriteString(resolver + "/" + m[k].AI + "/" + encode(m[k].Value))
	for _, q := range qualifiers {
		if v := m.Value(q); v != "" {
			b.WriteString("/" + q + "/" + encode(v))
		}
	}
	mark := "?"
	for i, e := range m {
		if i != k && !slices.Contains(qualifiers, e.AI) {
			b.WriteString(mark + e.AI + "=" + encode(e.Value))
			mark = "&"
		}
	}
	return b.String(), nil
}
