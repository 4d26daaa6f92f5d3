package gs1

import (
	"slices"
	"strings"
)

// separator ends a value of no fixed length: the FNC1 of the bar code, as
// scanners send it.
const separator = '\x1d'

// symbologies are what scanners put in front of GS1 data (ISO/IEC 15424).
var symbologies = []string{"]C1", "]e0", "]d2", "]Q3", "]J1"}

// Parse reads a label in any of its forms. The error is an *Error.
func Parse(text string) (Message, error) {
	var found []piece
	var err error
	switch {
	case strings.HasPrefix(text, "("):
		found, err = bracketed(text)
	case isLink(text):
		found, err = link(text)
	case strings.HasPrefix(text, epc):
		found, err = urn(text)
	default:
		found, err = scan(text)
	}
	if err != nil {
		return nil, err
	}
	return whole(text, found)
}

// scan reads what a scanner sends.
func scan(text string) ([]piece, error) {
	i := 0
	if len(text) > 3 && slices.Contains(symbologies, text[:3]) {
		i = 3
	}
	var found []piece
	for i < len(text) {
		if text[i] == separator { // one in front, or where none is needed, does no harm
			i++
			continue
		}
		code, a, ok := leading(text[i:])
		if !ok {
			return nil, broken(text, i, "", RuleIdentifier, "no application identifier that is read here begins with %q", text[i:min(i+4, len(text))])
		}
		from := i + len(code)
		to := from + strings.IndexByte(text[from:]+string(separator), separator)
		if a.fixed {
			to = min(to, from+a.max)
		}
		found = append(found, piece{Element{code, text[from:to]}, i, from, false})
		i = to
	}
	return found, nil
}

// bracketed reads what stands beneath a bar code for people. A bracket that
// belongs to a value has a backslash before it; blanks between are for the eye.
func bracketed(text string) ([]piece, error) {
	var found []piece
	for i := 0; i < len(text); { // at a bracket that opens
		n := strings.IndexByte(text[i:], ')')
		if n < 0 {
			return nil, broken(text, i, "", RuleForm, "the bracket is not closed")
		}
		p := piece{Element: Element{AI: text[i+1 : i+n]}, at: i, from: i + n + 1}
		end := p.from
		for end < len(text) && (text[end] != '(' || text[end-1] == '\\') {
			end++
		}
		raw := text[p.from:end]
		p.from += len(raw) - len(strings.TrimLeft(raw, " "))
		raw = strings.Trim(raw, " ")
		p.Value = strings.ReplaceAll(raw, `\(`, "(")
		p.escaped = p.Value != raw
		found = append(found, p)
		i = end
	}
	return found, nil
}
