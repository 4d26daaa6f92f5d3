package document

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"lastgood/policy/impact"
	"lastgood/policy/limit"
	"lastgood/policy/metrology"
	"lastgood/policy/rules"
)

// whole is a document with everything in it that a policy may say.
const whole = `# invented
limits:
  - {limit: cook-core,   kind: at_least,  temperature: 165 F, hazard: salmonella, monitoring: discrete}
  - {limit: htst,        kind: hold,      at_least: 72 C, for: 15s, max_gap: 2s}
  - {limit: parasite,    kind: hold,      at_most: -20 C, for: 168h, max_gap: 2h}
  - {limit: retort,      kind: lethality, reference: 121.1 C, z: 10 K, minutes: 3.0, max_gap: 1m, from: 100 C}
  - {limit: chill-store, kind: at_most,   temperature: 5 C, allow: {above: 5 C, total: 30m}, max_gap: 30m}
  - {limit: roast,       kind: dwell_table, table: [[130 F, 112m], [140 F, 12m], [158 F, 0s]], max_gap: 2m}
  - {limit: cook-log,    kind: log_reduction, reference: 70 C, z: 6.5 K, d: 9s, logs: 7, max_gap: 1m}
  - limit: cool
    kind: cooling
    max_gap: 30m
    stages:
      - [57 C, 21 C, 2h]
      - [57 C, 5 C, 6h]
  - {limit: seafood,     kind: exposure,  bands: [[10 C, 21.1 C, 5h], [21.1 C, 100 C, 2h]], max_gap: 30m}
  - {limit: lm-growth,   kind: growth,    model: {form: square_root, b: 0.023, tmin: -1.5 C, rate: log10_per_hour}, logs: 1.0, max_gap: 1h}
  - limit: "010"
    kind: at_most
    temperature: 41 FAH
    applies_to: {products: [soup, "no"], locations: [cooler-2]}
    valid_until: 2026-01-01T00:00:00-05:00
  - limit: "010"
    kind: at_most
    temperature: 4 CEL
    valid_from: "2026-01-01T05:00:00Z"
decision_rule: {rule: guarded, ratio: 0.5}
onset: sudden
coverage: 2.5
severities: {salmonella: serious, "no": minor}
hazards:
  - {hazard: clostridium botulinum, severity: fatal}
beyond_points: 9 F
`

func parse(t *testing.T, text string) *Policy {
	t.Helper()
	p, problems := Parse([]byte(text))
	for _, x := range problems {
		t.Error(x)
	}
	if p == nil {
		t.FailNow()
	}
	return p
}

func TestWhole(t *testing.T) {
	t.Parallel()
	p := parse(t, whole)
	var texts []string
	for _, l := range p.Limits {
		texts = append(texts, l.Name+": "+l.Kind+": "+l.Text)
	}
	want := []string{
		"cook-core: at_least: at least 165 F",
		"htst: hold: at least 72 C for 15s",
		"parasite: hold: at most -20 C for 168h",
		"retort: lethality: at least 3 min at 121.1 C, z 10 K, from 100 C",
		"chill-store: at_most: at most 5 C, but for 30m in all",
		"roast: dwell_table: at least 130 F for 1h52m, or 140 F for 12m, or 158 F for 0s",
		"cook-log: log_reduction: at least 7 log, D 9s at 70 C, z 6.5 K",
		"cool: cooling: from 57 C to 21 C within 2h, and from 57 C to 5 C within 6h",
		"seafood: exposure: at most 5h from 10 C to 21.1 C, and 2h from 21.1 C to 100 C",
		"lm-growth: growth: at most 1 log10 of growth, square_root with b 0.023, tmin -1.5 C, log10_per_hour",
		"010: at_most: at most 41 F",
		"010: at_most: at most 4 C",
	}
	if d := cmp.Diff(want, texts); d != "" {
		t.Error(d)
	}
	if l := p.Limits[0]; l.Hazard != "salmonella" || l.Monitoring != "discrete" {
		t.Errorf("%+v", l)
	}
	if a := p.Limits[10].AppliesTo; !cmp.Equal(a.Products, []string{"soup", "no"}) || !cmp.Equal(a.Locations, []string{"cooler-2"}) {
		t.Errorf("%+v", a)
	}
	if p.DecisionRule != (metrology.Rule{Kind: metrology.Guarded, Ratio: 0.5, Coverage: 2.5}) {
		t.Errorf("%+v", p.DecisionRule)
	}
	severities := map[string]Severity{"salmonella": impact.Serious, "no": impact.Minor, "clostridium botulinum": impact.Fatal}
	if d := cmp.Diff(severities, p.Severities); d != "" {
		t.Error(d)
	}
	if p.Onset != Sudden || p.Beyond != 5 || string(p.Source) != whole { // 9 °F are 5 K
		t.Errorf("onset %s, beyond %v", p.Onset, p.Beyond)
	}
}

func TestDefaults(t *testing.T) {
	t.Parallel()
	p := parse(t, "limits: [{limit: cook, kind: at_least, temperature: 165 F}]\n")
	if p.DecisionRule != metrology.DefaultRule() || p.Onset != Sudden || p.Beyond != 10 || len(p.Severities) != 0 {
		t.Errorf("%+v", p)
	}
	for _, onset := range []string{limit.Sudden, limit.Gradual, limit.Delayed, limit.Event} {
		if q := parse(t, besides("onset: "+onset)); q.Onset != onset {
			t.Errorf("%s: %s", onset, q.Onset)
		}
	}
	for text, want := range map[string]metrology.Rule{
		"decision_rule: probability":                           {Kind: metrology.Probability, Ratio: 1, Coverage: 2},
		"decision_rule: {rule: probability, confidence: 0.9}":  {Kind: metrology.Probability, Ratio: 1, Coverage: 2, Confidence: 0.9},
		"decision_rule: {confidence: 0.99, rule: probability}": {Kind: metrology.Probability, Ratio: 1, Coverage: 2, Confidence: 0.99},
	} {
		if q := parse(t, besides(text)); q.DecisionRule != want {
			t.Errorf("%s: %+v", text, q.DecisionRule)
		}
	}
	if q := parse(t, "decision_rule: guarded\nlimits: [{limit: cook, kind: at_least, temperature: 165 F}]\n"); q.DecisionRule.Kind != metrology.Guarded {
		t.Errorf("%+v", q.DecisionRule)
	}
}

// TestRulesAreRead: what a document says of a part stands in place of the
// built-in part, and the other parts stay as they are.
func TestRulesAreRead(t *testing.T) {
	t.Parallel()
	p := parse(t, besides(`rules: [{rule: to-the-bin, when: verdict == "missed", route: destroy, reason: we never rework}]`))
	f := rules.Facts{Verdict: "missed", InControl: true, Kind: "at_least", Severity: "minor"}
	o, builtIn := p.Rules.Evaluate(f), parse(t, besides("")).Rules.Evaluate(f)
	if o.Route != rules.Destroy || o.RouteRule != "to-the-bin" || builtIn.Route != rules.Rework || o.Level != builtIn.Level {
		t.Errorf("%+v instead of %+v", o, builtIn)
	}
}

// TestDefaultsAreTold: what a document leaves to the program is told, and no
// more.
func TestDefaultsAreTold(t *testing.T) {
	t.Parallel()
	keys := func(text string) (out []string) {
		for _, d := range parse(t, text).Defaults() {
			if d.Value == "" {
				t.Errorf("%s: no value", d.Key)
			}
			out = append(out, d.Key)
		}
		return out
	}
	if d := cmp.Diff([]string{"decision_rule", "coverage", "onset", "severities", "beyond_points", "kill_steps", "corroboration", "escalation", "overdue_grace"}, keys(besides(""))); d != "" {
		t.Error(d)
	}
	if d := cmp.Diff([]string{"kill_steps", "corroboration", "escalation", "overdue_grace"}, keys(whole)); d != "" {
		t.Error(d)
	}
	said := besides("decision_rule: guarded\nhazards: [{hazard: a, severity: fatal}]\n")
	if d := cmp.Diff([]string{"coverage", "onset", "beyond_points", "kill_steps", "corroboration", "escalation", "overdue_grace"}, keys(said)); d != "" {
		t.Error(d)
	}
}

// TestInForce: the version of the production date counts, to the moment.
func TestInForce(t *testing.T) {
	t.Parallel()
	p := parse(t, whole)
	change := time.Date(2026, 1, 1, 5, 0, 0, 0, time.UTC)
	for _, x := range []struct {
		name string
		at   time.Time
		want string
	}{
		{"010", change.Add(-time.Nanosecond), "at most 41 F"},
		{"010", change, "at most 4 C"},
		{"010", change.AddDate(50, 0, 0), "at most 4 C"},
		{"cook-core", time.Time{}, "at least 165 F"},
		{"cook", change, ""},
	} {
		l, ok := p.InForce(x.name, x.at)
		if l.Text != x.want || ok != (x.want != "") {
			t.Errorf("%s at %s: %q, %v", x.name, x.at, l.Text, ok)
		}
	}
}

// limitWith is a document with one limit.
func limitWith(s string) string {
	at := "^"
	if strings.Contains(s, "^") {
		at = ""
	}
	return "limits:\n  - " + at + "{" + s + "}\n"
}

// besides is a document with a good limit on line 1 and s from line 2 on.
func besides(s string) string {
	return "limits: [{limit: cook, kind: at_least, temperature: 165 F}]\n" + s + "\n"
}

const cook = "limit: cook, kind: at_least, temperature: 165 F"

// refused are documents with one problem each.
var refused = []struct {
	text string // with a ^ where the problem is; without one, at the start of the limit or of the text
	want string // path and rule
	says string
}{
	{"", "empty", "at least limits"},
	{"# nothing\n", "empty", ""},
	{"~\n", "empty", ""},
	{"limits: [\n^", "not-yaml", "not YAML"},
	{"a: b\n^---\nc: d\n", "two-documents", ""},
	{"limits: \xc3\x28", "not-yaml", ""},
	{strings.Repeat("# much\n", 1<<18), "too-large", "1 MiB"},
	{"[1]\n", "wrong-type", "mapping"},
	{"cook\n", "wrong-type", "mapping"},
	{"onset: sudden\n", "limits missing-parameter", "needs limits"},
	{"limits: ^[]\n", "limits empty", "at least one"},
	{"limits: ^{}\n", "limits wrong-type", "a list"},
	{"limits: [^cook]\n", "limits[0] wrong-type", "mapping"},
	{"limits: [^*cook]\n", "not-yaml", ""},
	{besides("^limit: x"), "limit unknown-key", "limits, decision_rule, onset, coverage, severities, hazards, beyond_points, kill_steps, corroboration, regimes, escalation, overdue_grace, authorities, determination_within, calendar, levels, rules, routes, signers and deadlines"},
	{besides("routes: ^[]"), "routes wrong-type", "mapping"},
	{besides("routes: {^donate: to a food bank}"), "routes.donate unknown-route", "release_with_record"},
	{besides("rules: ^[]"), "rules empty", "the built-in ones apply"},
	{besides("rules:\n  - {rule: a, when: 'verdict == \"met\" && ^shiped', route: rework, reason: again}"), "rules[0].when unknown-fact", "did you mean shipped?"},
	{besides("levels:\n  - rule: a\n    level: 1\n    reason: good\n    when: verdict == ^\"good\""), "levels[0].when unknown-word", "met, indeterminate, missed or unknown"},
	{besides("signers: ^[{rule: a, when: 'true', role: qa_lead, meaning: alone}]"), "signers too-few", "never signs alone"},
	{besides("deadlines: ^{}"), "deadlines wrong-type", "a list of rules"},
	{besides("deadlines: [{rule: a, when: 'true', within: ^7d, what: decide}]"), "deadlines[0].within bad-duration", "168h"},
	{besides("onset: sudden\n^onset: sudden"), "onset duplicate-key", "twice"},
	{besides("? ^[a]\n: b"), "wrong-type", "a word"},

	{besides("decision_rule: ^strict"), "decision_rule unknown-word", "simple, guarded or probability"},
	{besides("decision_rule: ^[simple]"), "decision_rule wrong-type", ""},
	{besides("decision_rule: ^{ratio: 1}"), "decision_rule.rule missing-parameter", ""},
	{besides("decision_rule: {rule: probability, confidence: ^0.5}"), "decision_rule.confidence out-of-range", "above 0.5 and below 1"},
	{besides("decision_rule: {rule: probability, confidence: ^1}"), "decision_rule.confidence out-of-range", ""},
	{besides("decision_rule: {rule: probability, confidence: ^95 %}"), "decision_rule.confidence wrong-type", ""},
	{besides("decision_rule: {rule: guarded, confidence: ^0.95}"), "decision_rule.confidence not-for-this-rule", "rule: probability"},
	{besides("decision_rule: {rule: guarded, ratio: ^-1}"), "decision_rule.ratio out-of-range", ""},
	{besides("decision_rule: {rule: guarded, ratio: ^one}"), "decision_rule.ratio wrong-type", ""},
	{besides("decision_rule: {rule: guarded, ^width: 1}"), "decision_rule.width unknown-key", "rule, ratio and confidence"},
	{besides("onset: ^slow"), "onset unknown-word", "sudden, gradual, delayed or event"},
	{besides("onset: ^[sudden]"), "onset wrong-type", ""},
	{besides("coverage: ^5"), "coverage out-of-range", "1 to 4"},
	{besides("coverage: ^02"), "coverage bad-number", "leading 0"},
	{besides("coverage: ^1_0"), "coverage bad-number", "underscore"},
	{besides("coverage: ^.nan"), "coverage bad-number", ""},
	{besides("coverage: ^two"), "coverage wrong-type", ""},
	{besides("coverage:^"), "coverage wrong-type", ""},
	{besides("severities: {listeria: ^deadly}"), "severities.listeria unknown-word", "minor, moderate, serious or fatal"},
	{besides("severities: {^no: minor}"), "severities.no not-text", "quotes"},
	{besides("hazards: [^{hazard: listeria}]"), "hazards[0] missing-parameter", ""},
	{besides("hazards: [{hazard: ^12, severity: fatal}]"), "hazards[0].hazard not-text", ""},
	{besides("severities: {a: fatal}\nhazards: [{^hazard: a, severity: minor}]"), "hazards[0].hazard duplicate-hazard", "twice"},
	{besides("beyond_points: ^10"), "beyond_points missing-unit", "10 K"},
	{besides("beyond_points: ^21 K"), "beyond_points out-of-range", "0 K to 20 K"},
	{besides("beyond_points: ^-1 K"), "beyond_points out-of-range", ""},
	{besides("beyond_points: ^1.0000001 K"), "beyond_points bad-number", "six decimals"},

	{limitWith("kind: at_least, temperature: 165 F"), "limits[0].limit missing-parameter", "its name"},
	{limitWith("limit: ^010, kind: at_least, temperature: 165 F"), "limits[0].limit not-text", `"010"`},
	{limitWith("limit: ^1_000, kind: at_least, temperature: 165 F"), "limits[0].limit not-text", `"1_000"`},
	{limitWith("limit: ^no, kind: at_least, temperature: 165 F"), "limits[0].limit not-text", `"no"`},
	{limitWith("limit: ^true, kind: at_least, temperature: 165 F"), "limits[0].limit not-text", ""},
	{limitWith("limit: ^2026-01-01, kind: at_least, temperature: 165 F"), "limits[0].limit not-text", ""},
	{limitWith("limit: ^' x', kind: at_least, temperature: 165 F"), "limits[0].limit not-text", "spaces"},
	{limitWith("limit: ^'', kind: at_least, temperature: 165 F"), "limits[0].limit not-text", ""},
	{limitWith("limit: ^~, kind: at_least, temperature: 165 F"), "limits[0].limit wrong-type", ""},
	{limitWith("limit: cook, temperature: 165 F"), "limits[0].kind missing-parameter", "at_least, at_most, hold, dwell_table"},
	{limitWith("limit: cook, kind: ^[at_least]"), "limits[0].kind wrong-type", ""},
	{limitWith("limit: cook, kind: ^atleast"), "limits[0].kind unknown-kind", "at_least, at_most, hold, dwell_table"},
	{limitWith("limit: c, kind: cooling, stages: ^[], max_gap: 1m"), "limits[0].stages empty", "[57 C, 21 C, 2h]"},
	{limitWith("limit: c, kind: cooling, stages: ^57 C, max_gap: 1m"), "limits[0].stages wrong-type", "a list"},
	{limitWith("limit: c, kind: cooling, stages: [[57 C, 21 C, 2h], ^[21 C, 4h]], max_gap: 1m"), "limits[0].stages[1] wrong-type", "a list of 3 values"},
	{limitWith("limit: c, kind: cooling, stages: [[57 C, ^21, 2h]], max_gap: 1m"), "limits[0].stages[0][1] missing-unit", "165 F"},
	{limitWith("limit: c, kind: cooling, stages: [[57 C, 21 C, ^2]], max_gap: 1m"), "limits[0].stages[0][2] missing-unit", "2h"},
	{limitWith("limit: c, kind: cooling, stages: [[57 C, 21 C, ^[2h]]], max_gap: 1m"), "limits[0].stages[0][2] wrong-type", ""},
	{limitWith("limit: c, kind: cooling, stages: [[57 C, 21 C, 2h], ^[5 C, 21 C, 4h]], max_gap: 1m"), "limits[0].stages[1] not-descending", "higher to its lower"},
	{limitWith("limit: c, kind: cooling, stages: [[57 C, 21 C, 2h]]"), "limits[0].max_gap missing-parameter", ""},
	{limitWith("limit: c, kind: cooling, max_gap: 1m"), "limits[0].stages missing-parameter", ""},
	{limitWith("limit: d, kind: dwell_table, table: [[130 F, 112m], ^[129 F, 2m]], max_gap: 1m"), "limits[0].table[1] not-ascending", ""},
	{limitWith("limit: d, kind: dwell_table, table: [^[130 F, 140 F, 112m]], max_gap: 1m"), "limits[0].table[0] wrong-type", "[130 F, 112m]"},
	{limitWith("limit: e, kind: exposure, bands: [[10 C, 21 C, 5h], ^[70 F, 100 F, 2h]], max_gap: 1m"), "limits[0].bands[1] mixed-units", ""},
	{limitWith("limit: g, kind: growth, model: {form: ^parabola, b: 0.023, tmin: -1.5 C}, logs: 1, max_gap: 1h"), "limits[0].model.form unknown-word", "square_root"},
	{limitWith("limit: g, kind: growth, model: {form: square_root, b: ^0.023 K, tmin: -1.5 C}, logs: 1, max_gap: 1h"), "limits[0].model.b wrong-type", ""},
	{limitWith("limit: g, kind: growth, model: {form: square_root, b: 0.023, tmin: ^-1.5}, logs: 1, max_gap: 1h"), "limits[0].model.tmin missing-unit", ""},
	{limitWith("limit: g, kind: growth, model: ^{}, logs: 1, max_gap: 1h"), "limits[0].model empty", "form"},
	{limitWith("limit: g, kind: growth, model: {^shape: square_root}, logs: 1, max_gap: 1h"), "limits[0].model.shape unknown-key", "form"},
	{limitWith("limit: k, kind: log_reduction, reference: 70 C, z: 6.5 K, d: ^9, logs: 7, max_gap: 1m"), "limits[0].d missing-unit", "15s"},
	{limitWith("limit: k, kind: log_reduction, reference: 70 C, z: 6.5 K, d: 9s, logs: ^0, max_gap: 1m"), "limits[0].logs out-of-range", ""},

	{limitWith("limit: cook, kind: at_least"), "limits[0].temperature missing-parameter", ""},
	{limitWith("limit: cook, kind: at_least, ^temp: 165 F, temperature: 165 F"), "limits[0].temp unknown-key", "temperature, max_gap, limit, kind"},
	{limitWith("limit: cook, kind: at_least, temperature: ^165"), "limits[0].temperature missing-unit", "165 F"},
	{limitWith("limit: cook, kind: at_least, temperature: ^165F"), "limits[0].temperature missing-unit", ""},
	{limitWith("limit: cook, kind: at_least, temperature: ^165 R"), "limits[0].temperature unknown-unit", "C, F or K"},
	{limitWith("limit: cook, kind: at_least, temperature: ^165 f"), "limits[0].temperature unknown-unit", ""},
	{limitWith("limit: cook, kind: at_least, temperature: ^0165 F"), "limits[0].temperature bad-number", ""},
	{limitWith("limit: cook, kind: at_least, temperature: ^0b1 F"), "limits[0].temperature bad-number", ""},
	{limitWith("limit: cook, kind: at_least, temperature: ^1e2 F"), "limits[0].temperature bad-number", ""},
	{limitWith("limit: cook, kind: at_least, temperature: ^1000000 F"), "limits[0].temperature bad-number", ""},
	{limitWith("limit: cook, kind: at_least, temperature: ^-500 F"), "limits[0].temperature out-of-range", "-273.15"},
	{limitWith("limit: cook, kind: at_least, temperature: ^{at: 165 F}"), "limits[0].temperature wrong-type", ""},
	{limitWith(cook + ", ^temperature: 165 F"), "limits[0].temperature duplicate-key", ""},
	{limitWith(cook + ", max_gap: ^30"), "limits[0].max_gap missing-unit", "30m"},
	{limitWith(cook + ", max_gap: ^-30m"), "limits[0].max_gap negative", ""},
	{limitWith(cook + ", max_gap: ^7d"), "limits[0].max_gap bad-duration", "168h"},
	{limitWith(cook + ", max_gap: ^0s"), "limits[0].max_gap out-of-range", ""},
	{limitWith(cook + ", monitoring: ^hourly"), "limits[0].monitoring unknown-word", "discrete, continuous or exception"},
	{limitWith(cook + ", hazard: ^7"), "limits[0].hazard not-text", ""},
	{limitWith(cook + ", valid_from: ^2026-01-01"), "limits[0].valid_from bad-time", "offset"},
	{limitWith(cook + ", valid_from: ^[now]"), "limits[0].valid_from wrong-type", ""},
	{limitWith(cook + ", valid_until: ^2026-01-01T00:00:00Z, valid_from: 2026-01-01T00:00:00Z"), "limits[0].valid_until out-of-range", ""},
	{limitWith(cook + ", applies_to: {products: ^[]}"), "limits[0].applies_to.products empty", ""},
	{limitWith(cook + ", applies_to: {products: ^soup}"), "limits[0].applies_to.products wrong-type", ""},
	{limitWith(cook + ", applies_to: {^lines: [a]}"), "limits[0].applies_to.lines unknown-key", "products and locations"},
	{limitWith("limit: h, kind: hold, at_least: 1 C, at_most: ^2 C, for: 1s, max_gap: 1s"), "limits[0].at_most too-many-parameters", ""},
	{limitWith("limit: h, kind: hold, at_least: 1 C, max_gap: 1s"), "limits[0].for missing-parameter", ""},
	{limitWith("limit: c, kind: at_most, temperature: 5 C, max_gap: 1m, allow: ^{}"), "limits[0].allow empty", "above and total"},
	{limitWith("limit: c, kind: at_most, temperature: 5 C, max_gap: 1m, allow: ^30m"), "limits[0].allow wrong-type", ""},
	{limitWith("limit: c, kind: at_most, temperature: 5 C, max_gap: 1m, allow: {above: 5 C, ^for: 1m}"), "limits[0].allow.for unknown-key", "above and total"},
	{limitWith("limit: c, kind: at_most, temperature: 5 C, max_gap: 1m, allow: {above: ^6 C, total: 1m}"), "limits[0].allow.above not-supported", "5 C"},
	{limitWith("limit: c, kind: at_most, temperature: 5 C, max_gap: 1m, allow: {above: 5 C}"), "limits[0].allow.total missing-parameter", ""},
	{limitWith("limit: r, kind: lethality, reference: 121.1 C, z: ^10, minutes: 3, max_gap: 1m"), "limits[0].z missing-unit", "10 K"},
	{limitWith("limit: r, kind: lethality, reference: 121.1 C, z: 10 K, minutes: ^-3, max_gap: 1m"), "limits[0].minutes out-of-range", ""},
	{limitWith("limit: r, kind: lethality, reference: 121.1 C, z: 10 K, minutes: ^3m, max_gap: 1m"), "limits[0].minutes wrong-type", ""},
	{limitWith("limit: r, kind: lethality, reference: 121.1 C, z: ^200 K, minutes: 3, max_gap: 1m"), "limits[0].z out-of-range", "1 K to 100 K"},
	{limitWith("limit: r, kind: lethality, reference: 121.1 C, z: ^-10 K, minutes: 3, max_gap: 1m"), "limits[0].z out-of-range", ""},
	{"limits:\n  - &a {" + cook + "}\n  - ^*a\n", "limits[1] wrong-type", ""},
	{"limits:\n  - {" + cook + "}\n  - ^{" + cook + "}\n", "limits[1] overlapping-versions", "valid_until"},
	{"limits:\n  - {" + cook + ", valid_until: 2026-01-02T00:00:00Z}\n  - ^{" + cook + ", valid_from: 2026-01-01T00:00:00Z}\n", "limits[1] overlapping-versions", ""},
}

// TestRefused: every problem has its place, its stable rule and, in words, what
// is allowed.
func TestRefused(t *testing.T) {
	t.Parallel()
	for _, x := range refused {
		before, after, _ := strings.Cut(x.text, "^")
		p, problems := Parse([]byte(before + after))
		if p != nil || len(problems) != 1 {
			t.Errorf("%.90q: policy %v, problems %v", x.text, p != nil, problems)
			continue
		}
		got := problems[0]
		if s := strings.TrimSpace(got.Path + " " + got.Rule); s != x.want {
			t.Errorf("%.90q: %s, want %s", x.text, s, x.want)
		}
		line, column := 1, 1
		if strings.Contains(x.text, "^") {
			line, column = 1+strings.Count(before, "\n"), len(before)-strings.LastIndex(before, "\n")
		}
		if got.Line != line || got.Column != column {
			t.Errorf("%.90q: at %d:%d, want %d:%d", x.text, got.Line, got.Column, line, column)
		}
		if !strings.Contains(got.Detail, x.says) || got.Detail == "" {
			t.Errorf("%.90q: %q does not say %q", x.text, got.Detail, x.says)
		}
	}
}

// TestTooMuch: a file that is something else is refused in reasonable time and
// length.
func TestTooMuch(t *testing.T) {
	t.Parallel()
	var b strings.Builder
	for i := range 50_000 {
		fmt.Fprintf(&b, "key-%d: 1\n", i)
	}
	if p, problems := Parse([]byte(b.String())); p != nil || len(problems) != maxProblems {
		t.Errorf("policy %v, %d problems", p != nil, len(problems))
	}
}

// TestAllAtOnce: one reading of the document shows everything that is wrong.
func TestAllAtOnce(t *testing.T) {
	t.Parallel()
	_, problems := Parse([]byte(`limits:
  - {limit: cook, kind: at_least, temperature: 165, max_gap: 30}
  - {limit: cool, kind: growing}
coverage: 9
rules: [{rule: all, when: shiped, route: rework, reason: again}]
colour: red
`))
	_, unknown := limit.Lookup("growing")
	var got []string
	for _, p := range problems {
		got = append(got, p.String())
	}
	want := []string{
		"2:48: limits[0].temperature: 165: write a number, a space and a unit, as in 165 F (missing-unit)",
		"2:62: limits[0].max_gap: 30 has no unit: write 15s, 30m or 2h (missing-unit)",
		"3:25: limits[1].kind: " + unknown.Error() + " (unknown-kind)",
		"4:11: coverage: coverage, the factor k of an expanded uncertainty, is from 1 to 4 (out-of-range)",
		"5:27: rules[0].when: rule all: there is no fact shiped: did you mean shipped? The facts are …",
		"6:1: colour: a policy has no key colour: it may have " + list(topKeys) + " (unknown-key)",
	}
	if len(got) > 4 {
		before, _, _ := strings.Cut(got[4], "verdict,")
		got[4] = before + "…"
	}
	if d := cmp.Diff(want, got); d != "" {
		t.Error(d)
	}
}

// FuzzParse: whatever comes in, there is either a policy that can be used or at
// least one problem with a place, a rule and a sentence.
func FuzzParse(f *testing.F) {
	f.Add([]byte(whole))
	f.Add([]byte(besides("decision_rule: guarded")))
	f.Add([]byte(besides(rules.DefaultText())))
	f.Add([]byte("limits: [{limit: a, kind: hold, at_most: -1 C, for: 1s, max_gap: 1s}, *a]"))
	f.Add([]byte("limits: [{limit: a, kind: cooling, stages: [[2 C, 1 C, 1h], [1 C], &a 2, *a], max_gap: 1s}]"))
	f.Add([]byte("limits: [{limit: a, kind: growth, model: {form: square_root, b: 1, tmin: 1 C}, logs: 1, max_gap: 1s}]"))
	f.Add([]byte("? {a: b}\n: &x [*x]\n"))
	f.Fuzz(func(t *testing.T, b []byte) {
		p, problems := Parse(b)
		if (p == nil) != (len(problems) > 0) {
			t.Fatalf("policy %v with problems %v", p, problems)
		}
		for _, x := range problems {
			if x.Line < 1 || x.Column < 1 || x.Rule == "" || x.Detail == "" {
				t.Fatalf("%+v", x)
			}
		}
		if p == nil {
			return
		}
		for _, l := range p.Limits {
			if l.Name == "" || l.Criterion == nil || l.Text == "" || l.Criterion.Scale() == 0 {
				t.Fatalf("%+v", l)
			}
		}
	})
}

func BenchmarkParse(b *testing.B) {
	text := []byte(whole)
	b.ReportAllocs()
	b.SetBytes(int64(len(text)))
	for b.Loop() {
		if _, problems := Parse(text); problems != nil {
			b.Fatal(problems)
		}
	}
}
