package rules

import (
	"regexp"
	"slices"
	"strings"

	"cel.dev/cel-go/cel"
)

// The messages of the CEL compiler that a person meets, and what they are about.
var (
	undeclared = regexp.MustCompile(`^undeclared reference to '([^']*)'`)
	noOverload = regexp.MustCompile(`^found no matching overload for '([^']*)' applied to '(.*)'$`)
	expected   = regexp.MustCompile(`^expected type '([^']*)' but found '([^']*)'$`)
	tooLarge   = regexp.MustCompile(`^expression .*(exceeds limit|limit exceeded)`)
	malformed  = regexp.MustCompile(`^(Syntax error|error recovery)`)
)

// explain turns what the compiler says into faults that a person who knows the
// plant, and not CEL, can mend.
func explain(errs []*cel.Error, text string, s stage) []fault {
	var out []fault
	for _, e := range errs {
		f := fault{offset: offset(text, e.Location.Line(), e.Location.Column())}
		f.rule, f.detail = translate(e.Message, text, f.offset, s)
		if f.rule == "too-large" {
			return []fault{f} // the rest follows from it
		}
		same := func(o fault) bool { return o.offset == f.offset || o.rule == "not-a-rule" && f.rule == "not-a-rule" }
		if !slices.ContainsFunc(out, same) { // a second error at a place, or after a slip in the syntax, says nothing new
			out = append(out, f)
		}
	}
	return out
}

func translate(message, text string, at int, s stage) (rule, detail string) {
	if m := undeclared.FindStringSubmatch(message); m != nil {
		if strings.HasPrefix(strings.TrimLeft(after(text, at), " "), "(") {
			return "not-supported", m[1] + " is not part of a rule: " + functionList
		}
		return unknownName(m[1], s)
	}
	if m := noOverload.FindStringSubmatch(message); m != nil {
		return "wrong-type", wrongType(operator(m[1]), m[2])
	}
	if m := expected.FindStringSubmatch(message); m != nil {
		return "wrong-type", "here must be " + plain(m[1]) + ", and this is " + plain(m[2])
	}
	if tooLarge.MatchString(message) {
		return "too-large", "a condition is at most 1000 characters, 400 words and less than 40 brackets deep: make it two rules"
	}
	if malformed.MatchString(message) {
		return "not-a-rule", syntax(text, at)
	}
	return "not-valid", message
}

// after returns what follows the word at an offset.
func after(text string, at int) string {
	runes := []rune(text)
	for at < len(runes) && (isWord(runes[at]) || runes[at] == '.') {
		at++
	}
	return string(runes[min(at, len(runes)):])
}

func isWord(c rune) bool {
	return c == '_' || c >= 'a' && c <= 'z' || c >= 'A' && c <= 'Z' || c >= '0' && c <= '9'
}

// unknownName explains a name that is no fact here.
func unknownName(name string, s stage) (rule, detail string) {
	if symbol, ok := symbols[name]; ok {
		return "not-supported", symbol + " is not part of a rule: " + functionList
	}
	return "unknown-fact", unknownFact(name, s)
}

func unknownFact(name string, s stage) string {
	if i, ok := places[name]; ok {
		return name + " is not known yet where this condition stands: only " + oneOf(vocabulary[i].from.parts()) + " may use it"
	}
	if near := nearest(name, s); near != "" {
		return "there is no fact " + name + ": did you mean " + near + "? The facts are " + strings.Join(names(s), ", ")
	}
	return "there is no fact " + name + ": the facts are " + strings.Join(names(s), ", ")
}

// names are the facts that a condition may use.
func names(s stage) []string {
	var out []string
	for _, w := range vocabulary {
		if w.from <= s {
			out = append(out, w.name)
		}
	}
	return out
}

// wrongType explains an operator between types, as the compiler writes them,
// that do not go together.
func wrongType(operator, types string) string {
	detail := "a rule cannot say " + operator + " of " + plain(types)
	switch {
	case (operator == "==" || operator == "!=") && (types == "(double, int)" || types == "(int, double)"):
		return detail + ": write the number with a point, as in 1.0"
	case operator == "&&" || operator == "||" || operator == "!":
		return detail + ": it combines conditions, so compare each with something first"
	case operator == "in":
		return detail + ": write a list of values of the same type, as in verdict in [\"met\", \"missed\"]"
	}
	return detail + ": both sides must be of the same type; text is in quotes, numbers and true are not"
}

// symbols are the operators as the compiler names them.
var symbols = map[string]string{
	"_&&_": "&&", "_||_": "||", "!_": "!", "_?_:_": "? :", "_==_": "==", "_!=_": "!=", "_<_": "<", "_<=_": "<=", "_>_": ">", "_>=_": ">=",
	"@in": "in", "_+_": "+", "_-_": "-", "-_": "-", "_*_": "*", "_/_": "/", "_%_": "%", "_[_]": "[ ]", "_[?_]": "[? ]", "_?._": ".?",
}

func operator(name string) string {
	if s, ok := symbols[name]; ok {
		return s
	}
	return name
}

// typeWords are the types of CEL as the vocabulary names them.
var typeWords = strings.NewReplacer("list(", "a list of (", "bool", "a truth value", "uint", "a whole number without sign", "string", "a text", "int", "a whole number",
	"double", "a number", ", ", " and ", "(", "", ")", "", "null_type", "null", "dyn", "values of several types")

func plain(types string) string { return typeWords.Replace(types) }

// syntax says what is most likely wrong where the compiler gave up.
func syntax(text string, at int) string {
	runes := []rune(text)
	switch {
	case at >= len(runes):
		return "the condition ends too early: something is missing at its end"
	case loneEquals(runes, at):
		return "this is not a condition: write == to ask whether two values are equal"
	case wordAt(runes, at, "and"), wordAt(runes, at, "or"), wordAt(runes, at, "not"), wordBefore(runes, at, "not"):
		return "this is not a condition: write && for and, || for or, ! for not"
	}
	return "this is not a condition from here on: one looks like verdict == \"met\" && !missed_as_recorded"
}

// loneEquals says whether there is a single = at a place.
func loneEquals(runes []rune, at int) bool {
	is := func(i int) bool { return i >= 0 && i < len(runes) && runes[i] == '=' }
	return is(at) && !is(at-1) && !is(at+1)
}

func wordAt(runes []rune, at int, word string) bool {
	end := at + len(word)
	return end <= len(runes) && string(runes[at:end]) == word && (end == len(runes) || !isWord(runes[end]))
}

func wordBefore(runes []rune, at int, word string) bool {
	return strings.HasSuffix(strings.TrimRight(string(runes[:at]), " "), word)
}

// offset returns how many characters into text a line, from 1, and a column,
// from 0, are.
func offset(text string, line, column int) int {
	at := 0
	for _, l := range strings.SplitAfter(text, "\n") {
		if line--; line < 1 {
			break
		}
		at += len([]rune(l))
	}
	return max(0, at+column)
}
