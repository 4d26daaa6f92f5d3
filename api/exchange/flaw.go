package exchange

import (
	"fmt"
	"strconv"
	"unicode/utf8"
)

// flaw is what is wrong with one value, before it is known where it stood. The
// good path carries a nil.
type flaw struct{ rule, detail string }

func flawf(rule, format string, args ...any) *flaw {
	return &flaw{rule, fmt.Sprintf(format, args...)}
}

// longestQuote keeps a sentence readable when somebody pasted a page into a
// cell.
const longestQuote = 60

// quote returns s in quotes, cut if it is long, with what cannot be printed made
// visible.
func quote(s string) string {
	if utf8.RuneCountInString(s) > longestQuote {
		s = string([]rune(s)[:longestQuote]) + "…"
	}
	return strconv.Quote(s)
}
