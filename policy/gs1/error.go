package gs1

import (
	"fmt"
	"unicode/utf8"
)

// Rule names what a text broke.
type Rule string

// The rules.
const (
	RuleForm       Rule = "form"       // it is in none of the forms
	RuleIdentifier Rule = "identifier" // no such application identifier here
	RuleLength     Rule = "length"
	RuleCharacter  Rule = "character"
	RuleCheckDigit Rule = "check-digit"
	RuleDate       Rule = "date"
	RuleNeeds      Rule = "needs"  // an identifier without the one that it says something of
	RuleRepeat     Rule = "repeat" // an identifier twice
)

// Error says where a text breaks which rule.
type Error struct {
	At     int    // character of the text, from 1
	AI     string // the application identifier; empty: none yet
	Rule   Rule
	Detail string
}

// Error names place and rule.
func (e *Error) Error() string {
	if e.AI == "" {
		return fmt.Sprintf("character %d: %s", e.At, e.Detail)
	}
	return fmt.Sprintf("character %d, in (%s): %s", e.At, e.AI, e.Detail)
}

// broken makes an error at a byte of the text.
func broken(text string, at int, ai string, rule Rule, format string, args ...any) *Error {
	return &Error{At: utf8.RuneCountInString(text[:min(at, len(text))]) + 1, AI: ai, Rule: rule, Detail: fmt.Sprintf(format, args...)}
}
