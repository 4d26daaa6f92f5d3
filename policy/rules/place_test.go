package rules

import (
	"strings"
	"testing"
	"unicode/utf8"
)

// TestPlacesInEveryStyle: the column is that of the word at fault, however YAML
// wraps, indents or escapes the condition. Each condition has one wrong word,
// shiped; the place is where it stands in the text.
func TestPlacesInEveryStyle(t *testing.T) {
	t.Parallel()
	const rest = "\n    route: destroy\n    reason: why\n"
	tests := []struct {
		name, when string
	}{
		{"plain", "verdict == \"met\" && shiped"},
		{"plain on two lines", "verdict == \"met\" &&\n      in_control && shiped"},
		{"plain with an empty line", "verdict == \"met\" &&\n\n      shiped"},
		{"single quotes", "'verdict == \"met\" && shiped'"},
		{"single quotes doubled", "'verdict == ''met'' && shiped'"},
		{"single quotes on two lines", "'verdict == ''met'' &&\n     shiped'"},
		{"double quotes", `"verdict == 'met' && shiped"`},
		{"double quotes escaped", `"verdict == \"met\" && shiped"`},
		{"double quotes with codes", `"verdict == \x22met\u0022 &&\tshiped"`},
		{"double quotes with a broken line", "\"verdict == 'met' \\\n      && shiped\""},
		{"literal", "|\n      verdict == \"met\" &&\n      in_control && shiped"},
		{"literal with a comment", "|-  # why\n\n        shiped"},
		{"literal with an indent of its own", "|2\n        shiped"},
		{"folded", ">-\n      verdict == \"met\"\n      && (in_control ||\n          shiped)"},
		{"wide letters before it", "'product == \"crème brûlée 🍮\" && shiped'"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			text := "rules:\n  - rule: a\n    when: " + tt.when + rest
			_, problems := read(t, text)
			if len(problems) != 1 || problems[0].Rule != "unknown-fact" {
				t.Fatalf("%+v", problems)
			}
			line, column := placeOf(text, strings.Index(text, "shiped"))
			if p := problems[0]; p.Line != line || p.Column != column {
				t.Errorf("%d:%d, want %d:%d in\n%s", p.Line, p.Column, line, column, text)
			}
		})
	}
}

// TestPlaceBehindWideLetters: columns count letters, not bytes, on the whole line.
func TestPlaceBehindWideLetters(t *testing.T) {
	t.Parallel()
	const text = "rules: [{rule: a, reason: crème 🍮, when: 'shiped', route: destroy}]\n"
	_, problems := read(t, text)
	if _, column := placeOf(text, strings.Index(text, "shiped")); len(problems) != 1 || problems[0].Column != column {
		t.Errorf("%+v, want column %d", problems, column)
	}
}

// TestPlaceOfWhatIsMissing: what ends too early is wrong right behind its end.
func TestPlaceOfWhatIsMissing(t *testing.T) {
	t.Parallel()
	for _, when := range []string{"'shipped &&'", "shipped &&", "|\n      shipped &&"} {
		text := "rules:\n  - rule: a\n    when: " + when + "\n    route: destroy\n    reason: why\n"
		_, problems := read(t, text)
		line, column := placeOf(text, strings.Index(text, "&&")+len("&&"))
		if len(problems) != 1 || problems[0].Line != line || problems[0].Column != column {
			t.Errorf("%s: %+v, want %d:%d", when, problems, line, column)
		}
	}
}

// placeOf returns the line and column of a byte, counted from the text alone.
func placeOf(text string, at int) (line, column int) {
	before := text[:at]
	return 1 + strings.Count(before, "\n"), 1 + utf8.RuneCountInString(before[strings.LastIndex(before, "\n")+1:])
}
