package document

import (
	"reflect"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"lastgood/policy/catalogue"
)

// TestUse: a limit that names a ready-made one has its figures and the plant's
// own besides, and its text says whose figures they are.
func TestUse(t *testing.T) {
	t.Parallel()
	p := parse(t, `limits:
  - {limit: roast, use: fsis-cook-meat-6.5-log, max_gap: 2m}
  - {limit: chicken, use: fsis-cook-chicken-7-log-fat-5, max_gap: 1m, hazard: salmonella, monitoring: continuous, applies_to: {products: [breast]}, valid_from: 2026-01-01T00:00:00Z}
  - {limit: chill, use: food-code-cold-holding-5-c}
  - {limit: cool, use: fsis-stabilisation-1, max_gap: 10m}
  - {limit: can, use: retort-f0-3-c, max_gap: 1m, from: 100 C}
`)
	var texts []string
	for _, l := range p.Limits {
		texts = append(texts, l.Name+": "+l.Kind+": "+l.Text)
	}
	unseen := "; humidity and come-up time are conditions that this check does not see)"
	want := []string{
		"roast: dwell_table: one row of 31, from 130 F for 1h52m to 160 F for 0s (FSIS 2021-12, Table 2" + unseen,
		"chicken: dwell_table: one row of 30, from 136 F for 1h8m24s to 165 F for 0s (FSIS 2021-12, Table 3" + unseen,
		"chill: at_most: at most 5 C (Food Code 3-501.16(A)(2))",
		"cool: cooling: from 130 F to 80 F within 1h30m, and from 80 F to 40 F within 5h (FSIS 2021-12, Appendix B, Option 1; from memory, to be confirmed)",
		"can: lethality: at least 3 min at 121.1 C, z 10 K, from 100 C (canning, minimum botulinum cook; from memory, to be confirmed)",
	}
	if d := cmp.Diff(want, texts); d != "" {
		t.Error(d)
	}
	l := p.Limits[1]
	if l.Hazard != "salmonella" || l.Monitoring != "continuous" || !cmp.Equal(l.AppliesTo.Products, []string{"breast"}) ||
		l.ValidFrom == nil || !l.ValidFrom.Equal(time.Date(2026, 1, 1, 0, 0, 0, 0, time.UTC)) {
		t.Errorf("%+v", l)
	}
}

// TestUseIsTheLimitTypedOut: every entry that is typed out with its own figures
// is the same limit as the one that is named.
func TestUseIsTheLimitTypedOut(t *testing.T) {
	t.Parallel()
	for _, name := range catalogue.Names() {
		e, err := catalogue.Find(name)
		if err != nil {
			t.Fatal(err)
		}
		a := parse(t, "limits: [{limit: a, kind: "+e.Kind.Name+", max_gap: 1m"+typed(e)+"}]").Limits[0]
		b := parse(t, "limits: [{limit: a, use: "+name+", max_gap: 1m}]").Limits[0]
		if b.Text != a.Text+e.Mark() {
			t.Errorf("%s: %q, want %q and its mark", name, b.Text, a.Text)
		}
		b.Text = a.Text
		if !reflect.DeepEqual(a, b) {
			t.Errorf("%s is not the limit typed out", name)
		}
	}
}

// typed is an entry's parameters as a plant would type them.
func typed(e catalogue.Entry) string {
	text := ""
	for _, p := range e.Parameters {
		value := p.Value
		if p.Rows != nil {
			var rows []string
			for _, r := range p.Rows {
				rows = append(rows, "["+strings.Join(r, ", ")+"]")
			}
			value = "[" + strings.Join(rows, ", ") + "]"
		}
		switch p.Name {
		case "allow.above":
			text += ", allow: {above: " + value
		case "allow.total":
			text += ", total: " + value + "}"
		default:
			text += ", " + p.Name + ": " + value
		}
	}
	return text
}

var badUses = []struct{ name, text, want, detail string }{
	{"unknown", "use: fsis-cook-meet-6.5-log, max_gap: 2m", "limits[0].use unknown-use", "did you mean fsis-cook-meat-6.5-log"},
	{"kind too", "use: fsis-cook-meat-6.5-log, kind: dwell_table, max_gap: 2m", "limits[0].kind fixed-parameter", "kind or use, not both"},
	{"figure", "use: pmo-milk-htst-161-f-15s, max_gap: 2s, for: 14s", "limits[0].for fixed-parameter", "for is fixed by pmo-milk-htst-161-f-15s: leave it out, or write the whole limit yourself, with kind: hold"},
	{"same figure", "use: pmo-milk-htst-161-f-15s, max_gap: 2s, at_least: 161 F", "limits[0].at_least fixed-parameter", "leave it out"},
	{"what the source leaves out", "use: food-code-cold-holding-5-c, max_gap: 2m, allow: {above: 5 C, total: 30m}", "limits[0].allow fixed-parameter", "with kind: at_most"},
	{"floor of the source", "use: uk-chilled-botulinum-p90-10, max_gap: 1m, from: 80 C", "limits[0].from fixed-parameter", "leave it out"},
	{"no gap", "use: fsis-cook-meat-6.5-log", "limits[0].max_gap missing-parameter", "max_gap"},
	{"bad gap", "use: fsis-cook-meat-6.5-log, max_gap: 2", "limits[0].max_gap missing-unit", "15s"},
	{"unknown key", "use: fsis-cook-meat-6.5-log, max_gap: 2m, fat: 5", "limits[0].fat unknown-key", "max_gap, use, limit"},
	{"not text", "use: 5, max_gap: 2m", "limits[0].use not-text", "quotes"},
}

func TestBadUses(t *testing.T) {
	t.Parallel()
	for _, c := range badUses {
		p, problems := Parse([]byte("limits: [{limit: cook, " + c.text + "}]\n"))
		if p != nil || len(problems) != 1 {
			t.Errorf("%s: %v", c.name, problems)
			continue
		}
		if got := problems[0]; got.Path+" "+got.Rule != c.want || !strings.Contains(got.Detail, c.detail) || got.Line != 1 {
			t.Errorf("%s: %v, want %s with %q", c.name, got, c.want, c.detail)
		}
	}
}
