package rules

import (
	"bytes"
	"strings"
	"unicode"
	"unicode/utf8"

	"go.yaml.in/yaml/v4"
)

// source is the text of a document, to find places in.
type source struct {
	text  []byte
	lines []int // where each begins
}

func newText(b []byte) source {
	s := source{text: b, lines: []int{0}}
	for i, c := range b {
		if c == '\n' {
			s.lines = append(s.lines, i+1)
		}
	}
	return s
}

// inside returns the line and column of the character of a scalar's value that
// is offset characters from its start. YAML folds lines, drops indents and
// unescapes quotes, but it neither adds nor drops a character that is no space:
// so the place is found by counting those.
func (s source) inside(n *yaml.Node, offset int) (line, column int) {
	if n.Line < 1 || n.Line > len(s.lines) {
		return max(n.Line, 1), max(n.Column, 1)
	}
	at := s.start(n)
	passed := solid(n.Value, offset)
	for at < len(s.text) {
		size, space := s.next(at, n.Style)
		if !space {
			if passed == 0 {
				break
			}
			passed--
		}
		at += size
		if passed == 0 && offset >= utf8.RuneCountInString(n.Value) {
			break // behind the last character: what is missing is missing here
		}
	}
	return s.position(at)
}

// start returns where the value of a scalar begins: behind its quote, or on the
// line below its | or >.
func (s source) start(n *yaml.Node) int {
	at := s.lines[n.Line-1]
	for range n.Column - 1 {
		_, size := utf8.DecodeRune(s.text[min(at, len(s.text)):])
		at += size
	}
	switch {
	case n.Style&(yaml.SingleQuotedStyle|yaml.DoubleQuotedStyle) != 0:
		return at + 1
	case n.Style&(yaml.LiteralStyle|yaml.FoldedStyle) != 0 && n.Line < len(s.lines):
		return s.lines[n.Line]
	}
	return at
}

// next returns the size of one character of a scalar as it is written, and
// whether it is a space or nothing at all in the value.
func (s source) next(at int, style yaml.Style) (size int, space bool) {
	c, size := utf8.DecodeRune(s.text[at:])
	switch {
	case style&yaml.SingleQuotedStyle != 0 && bytes.HasPrefix(s.text[at:], []byte("''")):
		return 2, false
	case style&yaml.DoubleQuotedStyle != 0 && c == '\\' && at+1 < len(s.text):
		return escape(s.text[at:])
	}
	return size, unicode.IsSpace(c)
}

// blank are the escapes that stand for a space or, at the end of a line, for
// nothing; digits are how long those with digits are.
const blank = "tnrv \n\rfNLP_\t"

var digits = map[byte]int{'x': 4, 'u': 6, 'U': 10}

func escape(b []byte) (size int, space bool) {
	if strings.IndexByte(blank, b[1]) >= 0 {
		return 2, true
	}
	if n, ok := digits[b[1]]; ok {
		return min(n, len(b)), false
	}
	return 2, false
}

// solid counts the characters of s before an offset that are no space.
func solid(s string, offset int) int {
	n := 0
	for _, c := range s {
		if offset == 0 {
			break
		}
		offset--
		if !unicode.IsSpace(c) {
			n++
		}
	}
	return n
}

// position returns the line and column of a byte of the text.
func (s source) position(at int) (line, column int) {
	line = 1
	for line < len(s.lines) && s.lines[line] <= at {
		line++
	}
	return line, 1 + utf8.RuneCount(s.text[s.lines[line-1]:min(at, len(s.text))])
}
