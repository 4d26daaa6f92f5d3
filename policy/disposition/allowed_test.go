package disposition

import (
	"slices"
	"strings"
	"testing"

	"lastgood/policy/limit"
	"lastgood/policy/rules"
	"lastgood/policy/sampling"
)

var verdicts = []limit.Verdict{limit.Met, limit.Indeterminate, limit.Unknown, limit.Missed}

func get(v limit.Verdict, f Facts, d Disposition) Option {
	list := Allowed(v, f)
	return list[slices.IndexFunc(list, func(o Option) bool { return o.Disposition == d })]
}

// TestTableOfTheNotes is the table of the design notes on the procedure, §7, cell
// by cell, for product in the plant: yes, what it needs, or never.
func TestTableOfTheNotes(t *testing.T) {
	t.Parallel()
	meat := []Regime{MeatPoultry}
	for _, c := range []struct {
		name    string
		verdict limit.Verdict
		d       Disposition
		facts   Facts
		allowed bool
		barred  bool
	}{
		{"met, released", limit.Met, Release, Facts{}, true, false},
		{"met, nothing to retrieve", limit.Met, Retrieve, Facts{Where: Shipped}, false, true},
		{"indeterminate, nothing attached", limit.Indeterminate, Release, Facts{}, false, false},
		{"indeterminate, a product test alone", limit.Indeterminate, Release, Facts{Evidence: []Evidence{ProductTest}, Tests: passed()}, false, false},
		{"indeterminate, a second instrument", limit.Indeterminate, Release, Facts{Evidence: []Evidence{SecondInstrument}}, true, false},
		{"indeterminate, a step downstream", limit.Indeterminate, Release, Facts{Evidence: []Evidence{DownstreamStep}}, true, false},
		{"a step downstream against a toxin", limit.Indeterminate, Release, Facts{Evidence: []Evidence{DownstreamStep}, Toxin: true}, false, false},
		{"indeterminate, a qualified evaluation", limit.Indeterminate, Release, Facts{Evidence: []Evidence{QualifiedEvaluation}}, true, false},
		{"unknown as indeterminate", limit.Unknown, Release, Facts{Evidence: []Evidence{AuthorityReport}}, true, false},
		{"a word nobody knows, as unknown", "clear", Release, Facts{}, false, false},
		{"indeterminate, reworked", limit.Indeterminate, Rework, Facts{}, true, false},
		{"missed, no regime", limit.Missed, Release, Facts{Evidence: everything()}, false, true},
		{"missed, a regime without an evaluation", limit.Missed, Release, Facts{Evidence: everything(), Regimes: []Regime{Juice}}, false, true},
		{"missed meat, the accepted evaluation", limit.Missed, Release, Facts{Evidence: []Evidence{ScientificEvaluation}, Regimes: meat}, true, false},
		{"missed meat, another evaluation", limit.Missed, Release, Facts{Evidence: []Evidence{QualifiedEvaluation, SecondInstrument}, Regimes: meat}, false, false},
		{"missed meat, a test and nothing else", limit.Missed, Release, Facts{Evidence: []Evidence{ProductTest}, Tests: passed(), Regimes: meat}, false, false},
		{"missed canned food, its authority's report", limit.Missed, Release, Facts{Evidence: []Evidence{AuthorityReport}, Regimes: []Regime{LowAcidCanned}}, true, false},
		{"missed, reworked without validation", limit.Missed, Rework, Facts{}, false, false},
		{"missed, reworked with validation", limit.Missed, Rework, Facts{Evidence: []Evidence{ValidatedProcess}}, true, false},
		{"reworked where a toxin may be", limit.Missed, Rework, Facts{Evidence: []Evidence{ValidatedProcess}, Toxin: true}, false, false},
		{"diverted to nobody", limit.Missed, Divert, Facts{}, false, false},
		{"diverted with an acceptance", limit.Missed, Divert, Facts{Evidence: []Evidence{ReceiverAcceptance}}, true, false},
		{"destroyed", limit.Missed, Destroy, Facts{}, true, false},
		{"retrieved", limit.Unknown, Retrieve, Facts{Where: Shipped}, true, false},
		{"retrieved again", limit.Unknown, Retrieve, Facts{Where: Retrieved}, false, true},
		{"destroyed where it is not", limit.Missed, Destroy, Facts{Where: Shipped}, false, true},
		{"nobody knows where", limit.Missed, Destroy, Facts{Where: "?"}, false, true},
		{"canned food in doubt, a second instrument", limit.Indeterminate, Release, Facts{Evidence: []Evidence{SecondInstrument}, Regimes: []Regime{LowAcidCanned}}, false, false},
		{"canned food in doubt, diverted", limit.Indeterminate, Divert, Facts{Evidence: everything(), Regimes: []Regime{LowAcidCanned}}, false, true},
		{"touched Listeria, met or not", limit.Met, Release, Facts{Evidence: everything(), ListeriaContact: true}, false, true},
		{"touched Listeria, diverted", limit.Met, Divert, Facts{Evidence: everything(), ListeriaContact: true}, false, true},
		{"touched Listeria, destroyed", limit.Met, Destroy, Facts{ListeriaContact: true}, true, false},
		{"touched Listeria, reprocessed", limit.Met, Reprocess, Facts{ListeriaContact: true}, false, false},
		{"a part of a batch in Europe", limit.Met, Release, Facts{Regimes: []Regime{EU}, OthersInDoubt: true}, false, false},
		{"the same with an assessment", limit.Met, Release, Facts{Regimes: []Regime{EU}, OthersInDoubt: true, Evidence: []Evidence{DetailedAssessment}}, true, false},
		{"a test rejected it", limit.Indeterminate, Release, Facts{Evidence: everything(), Tests: tests(sampling.Accept, sampling.Reject)}, false, true},
		{"a test rejected it, and it is cooked again anyhow", limit.Met, Reprocess, Facts{Tests: tests(sampling.Reject)}, false, false},
		{"a test has not decided", limit.Met, Release, Facts{Evidence: everything(), Tests: tests(sampling.Accept, sampling.Undecided)}, false, false},
		{"back, and met", limit.Met, Release, Facts{Where: Retrieved}, false, false},
		{"missed as recorded is missed", limit.Met, Release, Facts{MissedAsRecorded: true, Evidence: everything()}, false, true},
	} {
		if c.facts.Where == "" {
			c.facts.Where = InControl
		}
		o := get(c.verdict, c.facts, c.d)
		if o.Allowed != c.allowed || o.Barred != c.barred || o.Why == "" || (len(o.Signers) == 0) != c.barred {
			t.Errorf("%s: allowed %t, barred %t, want %t, %t: %s", c.name, o.Allowed, o.Barred, c.allowed, c.barred, o.Why)
		}
	}
}

func everything() []Evidence {
	var out []Evidence
	for _, k := range kinds {
		out = append(out, k.evidence)
	}
	return out
}

func passed() []sampling.Outcome { return tests(sampling.Accept) }

func tests(list ...sampling.Decision) []sampling.Outcome {
	var out []sampling.Outcome
	for _, d := range list {
		out = append(out, sampling.Outcome{Decision: d, LimitedTo: "pallet 3"})
	}
	return out
}

// TestSecondDisposition: what is retrieved may then be anything but retrieved
// again, and what missed is not released.
func TestSecondDisposition(t *testing.T) {
	t.Parallel()
	if then := get(limit.Missed, Facts{Where: Shipped}, Retrieve).Then; !slices.Equal(then, []Disposition{Rework, Reprocess, Divert, Destroy}) {
		t.Errorf("what missed may become %v", then)
	}
	if then := get(limit.Indeterminate, Facts{Where: Shipped, ListeriaContact: true}, Retrieve).Then; !slices.Equal(then, []Disposition{Reprocess, Destroy}) {
		t.Errorf("what touched Listeria may become %v", then)
	}
}

// TestWhyNamesEvidenceAndSource: what a person reads when refused says what would
// do and who says so.
func TestWhyNamesEvidenceAndSource(t *testing.T) {
	t.Parallel()
	why := get(limit.Indeterminate, Facts{Where: InControl, Tests: passed()}, Release).Why
	for _, word := range []string{"second_instrument", "qualified_evaluation", "not enough", "21 CFR 117.150", "never enough", "pallet 3"} {
		if !strings.Contains(why, word) {
			t.Errorf("%q lacks %q", why, word)
		}
	}
	why = get(limit.Missed, Facts{Where: InControl, Regimes: []Regime{Juice, "somewhere"}}, Release).Why
	for _, word := range []string{"for juice no evaluation", "the regime somewhere"} {
		if !strings.Contains(why, word) {
			t.Errorf("%q lacks %q", why, word)
		}
	}
}

// TestUnknownIsOneLevelHigher (design notes on the procedure, §7): at level 3 the
// plant manager signs for what is unknown, and not for what is indeterminate.
func TestUnknownIsOneLevelHigher(t *testing.T) {
	t.Parallel()
	f := Facts{Where: InControl, Level: 3}
	if signs(get(limit.Indeterminate, f, Destroy), PlantManager) || !signs(get(limit.Unknown, f, Destroy), PlantManager) {
		t.Error("unknown at level 3 is not signed as at level 4")
	}
	if f.Level = 0; !signs(get(limit.Met, f, Release), PlantManager) {
		t.Error("a level that is none does not count as the highest")
	}
}

// TestRolesAreThoseOfTheRules: both packages name a role by the same word.
func TestRolesAreThoseOfTheRules(t *testing.T) {
	t.Parallel()
	for role, word := range map[Role]string{QALead: rules.QALead, PlantManager: rules.PlantManager, RegulatoryLiaison: rules.RegulatoryLiaison,
		ProcessAuthority: rules.ProcessAuthority, Verifier: rules.Verifier} {
		if string(role) != word {
			t.Errorf("%s is %s in the rules", role, word)
		}
	}
}

// TestTablesAreWhole: every row has its words, and every bar and need its source.
func TestTablesAreWhole(t *testing.T) {
	t.Parallel()
	for _, r := range table {
		for _, e := range r.oneOf {
			if e.Means() == "" {
				t.Errorf("the row %s asks for %q, which is no kind of evidence", r.name, e)
			}
		}
		if r.name == "" || r.why == "" || r.source == "" || len(r.of) == 0 || r.bars == (len(r.oneOf) > 0) {
			t.Errorf("the row %q is not whole", r.name)
		}
		if slices.Contains(r.oneOf, ProductTest) {
			t.Errorf("the row %s lets a product test be enough", r.name)
		}
	}
	for _, g := range regimes {
		if g.name == "" || g.note == "" || g.source == "" || g.read == "" || slices.Contains(g.accepts, ProductTest) {
			t.Errorf("the regime %q is not whole", g.regime)
		}
	}
	if Evidence("a hunch").Means() != "" {
		t.Error("a hunch is evidence")
	}
	for _, p := range pairs {
		if p.rule == "" || p.why == "" || p.source == "" || p.exception == "" || p.where == "" {
			t.Errorf("the pair %q is not whole", p.rule)
		}
	}
}
