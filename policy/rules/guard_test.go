package rules

import (
	"slices"
	"strings"
	"testing"

	"cel.dev/cel-go/cel"
	"pgregory.net/rapid"
)

// released is a document that releases everything, at the lowest level.
const released = `
levels: [{rule: nothing-matters, when: "true", level: 1, reason: it does not matter}]
rules: [{rule: all-go, when: "true", route: release_with_record, reason: everything goes}]
signers:
  - {rule: one, when: "true", role: qa_lead, meaning: signs}
  - {rule: never, when: level > 5, role: verifier, meaning: signs}
`

// TestNoRuleReleasesWhatDidNotMeet: each verdict, with and without what may
// clear it, under rules that release everything.
func TestNoRuleReleasesWhatDidNotMeet(t *testing.T) {
	t.Parallel()
	tests := []struct {
		name  string
		facts Facts
		route Route
	}{
		{"met", Facts{Verdict: met}, ReleaseWithRecord},
		{"met, but missed as recorded", Facts{Verdict: met, MissedAsRecorded: true}, HoldAndRetest},
		{"indeterminate", Facts{Verdict: indeterminate}, HoldAndRetest},
		{"missed", Facts{Verdict: missed}, HoldAndRetest},
		{"unknown", Facts{Verdict: unknown}, HoldAndRetest},
		{"a foreign verdict", Facts{Verdict: "fine"}, HoldAndRetest},
		{"no verdict", Facts{}, HoldAndRetest},
		{"indeterminate, cleared later", Facts{Verdict: indeterminate, KillStep: true}, ReleaseWithRecord},
		{"unknown, cleared later", Facts{Verdict: unknown, KillStep: true}, ReleaseWithRecord},
		{"missed, whatever came later", Facts{Verdict: missed, KillStep: true}, HoldAndRetest},
		{"missed as recorded, whatever came later", Facts{Verdict: unknown, KillStep: true, MissedAsRecorded: true}, HoldAndRetest},
		{"a foreign verdict, whatever came later", Facts{Verdict: "fine", KillStep: true}, HoldAndRetest},
	}
	r := good(t, released)
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			o := r.Evaluate(tt.facts)
			if o.Route != tt.route {
				t.Fatalf("route %s", o.Route)
			}
			if refused := o.RouteRule == "not-released" && strings.Contains(o.RouteReason, "all-go"); refused != (tt.route == HoldAndRetest) {
				t.Errorf("by %s: %s", o.RouteRule, o.RouteReason)
			}
		})
	}
}

func TestWorstFactsKeepTheirLevel(t *testing.T) {
	t.Parallel()
	tests := []struct {
		name  string
		facts Facts
		level int
	}{
		{"met", Facts{Verdict: met, Shipped: true, Severity: "fatal"}, 1},
		{"shipped and missed", Facts{Verdict: missed, Shipped: true, Severity: "serious"}, 5},
		{"shipped, nobody knows", Facts{Shipped: true}, 5},
		{"shipped and missed, a lesser hazard", Facts{Verdict: missed, Shipped: true, Severity: "minor"}, 2},
		{"shipped, cleared later", Facts{Verdict: unknown, Shipped: true, KillStep: true}, 2},
		{"in the plant", Facts{Verdict: missed, InControl: true, Severity: "fatal"}, 2},
	}
	r := good(t, released)
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			o := r.Evaluate(tt.facts)
			if o.Level != tt.level {
				t.Errorf("level %d, want %d: %s", o.Level, tt.level, o.LevelReason)
			}
			if told := strings.Contains(o.LevelReason, "the rules give level 1"); told != (tt.level > 1) {
				t.Errorf("reason %s", o.LevelReason)
			}
		})
	}
}

// TestAPlantMayRateHigher: no bound above.
func TestAPlantMayRateHigher(t *testing.T) {
	t.Parallel()
	r := good(t, `levels: [{rule: all, when: "true", level: 5, reason: we are careful}]`)
	if o := r.Evaluate(Facts{Verdict: met}); o.Level != 5 {
		t.Errorf("level %d", o.Level)
	}
}

func TestRaisesAddUpToFive(t *testing.T) {
	t.Parallel()
	r := good(t, `
levels:
  - {rule: start, when: "true", level: 2, reason: start}
  - {rule: first, when: shipped, raise: 2, reason: left}
  - {rule: second, when: in_control, raise: 2, reason: here}
`)
	for _, tt := range []struct {
		facts Facts
		want  int
	}{{Facts{}, 2}, {Facts{InControl: true}, 4}, {Facts{Shipped: true, InControl: true, Severity: "minor"}, 5}} {
		if o := r.Evaluate(tt.facts); o.Level != tt.want || o.LevelRule != "start" {
			t.Errorf("%+v: level %d by %s: %s", tt.facts, o.Level, o.LevelRule, o.LevelReason)
		}
	}
}

func TestTwoSignAtLeast(t *testing.T) {
	t.Parallel()
	r := good(t, released)
	if got := roles(r.Evaluate(Facts{Verdict: met}).Signers); got != "qa_lead, plant_manager, regulatory_liaison" {
		t.Errorf("signers %s", got)
	}
}

func TestAProcessAuthoritySignsWhatWaitsForOne(t *testing.T) {
	t.Parallel()
	r := good(t, `
rules: [{rule: all, when: "true", route: hold_for_process_authority, reason: held}]
signers:
  - {rule: one, when: "true", role: qa_lead, meaning: signs}
  - {rule: two, when: "true", role: verifier, meaning: signs}
  - {rule: again, when: "true", role: qa_lead, meaning: signs twice}
`)
	if got := roles(r.Evaluate(Facts{}).Signers); got != "qa_lead, verifier, process_authority" {
		t.Errorf("signers %s", got)
	}
}

// failing is a program that compiles and fails, which the language of the rules
// does not have.
func failing(t *testing.T) cel.Program {
	t.Helper()
	e, err := cel.NewEnv(cel.Variable("level", cel.IntType), cel.Variable("verdict", cel.StringType))
	if err != nil {
		t.Fatal(err)
	}
	ast, issues := e.Compile("int(verdict) == 1")
	if issues.Err() != nil {
		t.Fatal(issues.Err())
	}
	p, err := e.Program(ast)
	if err != nil {
		t.Fatal(err)
	}
	return p
}

// TestARuleThatFailsHolds: in whichever part it stands.
func TestARuleThatFailsHolds(t *testing.T) {
	t.Parallel()
	bad := line{name: "broken", program: failing(t)}
	parts := map[string]func(*Rules){
		"levels":    func(r *Rules) { r.levels = []levelLine{{bad, 1, "x"}} },
		"raises":    func(r *Rules) { r.raises = []levelLine{{bad, 1, "x"}} },
		"rules":     func(r *Rules) { r.routes = []routeLine{{bad, ReleaseWithRecord, "x"}} },
		"signers":   func(r *Rules) { r.signers = []signerLine{{bad, QALead, "x"}} },
		"deadlines": func(r *Rules) { r.deadlines = []deadlineLine{{bad, decideByHand, "x"}} },
	}
	for name, breaks := range parts {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			r := *Default()
			breaks(&r)
			o := r.Evaluate(Facts{Verdict: met})
			if o.Level != 4 || o.Route != HoldAndRetest || len(o.Signers) != 3 || len(o.Deadlines) != 1 {
				t.Errorf("%+v", o)
			}
			if o.RouteRule != "not-evaluated" || !strings.Contains(o.RouteReason, "the rule broken could not be evaluated") {
				t.Errorf("by %s: %s", o.RouteRule, o.RouteReason)
			}
		})
	}
}

func TestARuleThatFailsNeverLowersTheLevel(t *testing.T) {
	t.Parallel()
	r := *Default()
	r.levels = []levelLine{{line{name: "broken", program: failing(t)}, 1, "x"}}
	if o := r.Evaluate(Facts{Verdict: missed, Shipped: true}); o.Level != 5 {
		t.Errorf("level %d", o.Level)
	}
}

// TestGuardsUnderAnyRules: rules drawn at random, under facts drawn at random.
func TestGuardsUnderAnyRules(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(rt *rapid.T) {
		text := anyDocument(rt)
		r, problems := read(t, text)
		if len(problems) > 0 {
			for _, p := range problems { // the only faults that a drawn document has
				if p.Rule != "unreachable" && p.Rule != "never-matches" && p.Rule != "too-few" {
					rt.Fatalf("%+v in\n%s", p, text)
				}
			}
			return
		}
		for range 5 {
			guarded(rt, r, anyFacts(rt))
		}
	})
}

func guarded(t *rapid.T, r *Rules, f Facts) {
	o := r.Evaluate(f)
	cleared := f.KillStep && (f.Verdict == indeterminate || f.Verdict == unknown)
	switch {
	case !slices.Contains(routeWords, string(o.Route)) || o.RouteRule == "" || o.RouteReason == "":
		t.Fatalf("route %+v", o)
	case o.Route == ReleaseWithRecord && (f.MissedAsRecorded || f.Verdict != met && !cleared):
		t.Fatalf("released %+v", f)
	case o.Level < 1 || o.Level > 5 || o.LevelRule == "" || o.LevelReason == "":
		t.Fatalf("level %+v", o)
	case o.Level < 2 && (f.Verdict != met || f.MissedAsRecorded):
		t.Fatalf("level %d for %+v", o.Level, f)
	case o.Level < 5 && f.Shipped && (f.Verdict == missed || f.Verdict == unknown && !cleared) && f.Severity != "minor" && f.Severity != "moderate":
		t.Fatalf("level %d for %+v", o.Level, f)
	case o.LevelRule == failedName || o.RouteRule == failedName:
		t.Fatalf("a rule that compiled failed: %s", o.RouteReason)
	}
	role := map[string]bool{}
	for _, s := range o.Signers {
		if role[s.Role] || !slices.Contains(roleWords, s.Role) || s.Meaning == "" {
			t.Fatalf("signers %+v", o.Signers)
		}
		role[s.Role] = true
	}
	if len(role) < 2 || o.Route == HoldForProcessAuthority && !role[ProcessAuthority] {
		t.Fatalf("signers %+v of %s", o.Signers, o.Route)
	}
}
