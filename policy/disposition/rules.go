package disposition

import (
	"slices"

	"lastgood/policy/limit"
)

// rule is one row of the table of what is allowed: for these dispositions, when
// this is so, it bars them, or it needs one piece of this evidence. All rows that
// apply have their say.
type rule struct {
	name   string
	of     []Disposition
	when   func(limit.Verdict, Facts) bool
	bars   bool
	oneOf  []Evidence
	why    string
	source string
}

// independent is the evidence on which a doubt may be overcome. A test of the
// finished product is not in it.
var independent = []Evidence{SecondInstrument, DownstreamStep, AuthorityReport, QualifiedEvaluation}

const practice = "common practice"

// table is that of the design notes on the procedure, §7, with what the notes say
// beside it.
var table = []rule{
	{"in-doubt", []Disposition{Release}, func(v limit.Verdict, _ Facts) bool { return v == limit.Indeterminate || v == limit.Unknown }, false, independent,
		"the limit may have been missed, and only evidence that does not hang on the instrument in doubt can show otherwise; a test of the product alone is not enough",
		practice + "; 21 CFR 117.150(a)(2)(iv)"},
	{"missed-repeated", []Disposition{Rework, Reprocess}, missed, false, []Evidence{ValidatedProcess},
		"the limit was missed, and what repairs that is a validated process", practice},
	{"rejected-repeated", []Disposition{Rework, Reprocess}, func(_ limit.Verdict, f Facts) bool { return f.rejected() }, false, []Evidence{ValidatedProcess},
		"a test rejected the product by its plan, and what repairs that is a validated process", practice},
	{"no-regime", []Disposition{Release}, func(v limit.Verdict, f Facts) bool { return v == limit.Missed && len(f.Regimes) == 0 }, true, nil,
		"the limit was missed, and no regime is named that would accept an evaluation of that", practice},
	{"toxin-stays", []Disposition{Rework, Reprocess}, func(v limit.Verdict, f Facts) bool { return v != limit.Met && f.Toxin }, false, []Evidence{AuthorityReport, QualifiedEvaluation},
		"a toxin may have formed that the process does not undo, and somebody qualified has to rule that out", practice},
	{"receiver", []Disposition{Divert}, always, false, []Evidence{ReceiverAcceptance},
		"who receives it, for what use, and why the hazard is controlled there is written down and accepted",
		practice + "; to animal food, 21 CFR 117.95 and 507.12"},
	{"listeria", []Disposition{Release, Rework, Divert}, touched, true, nil,
		"ready-to-eat product that touched Listeria monocytogenes is reprocessed or destroyed", "80 FR 35178 (9 CFR 430.4)"},
	{"listeria-reprocessed", []Disposition{Reprocess}, touched, false, []Evidence{ValidatedProcess},
		"what it touched is killed by a validated process only", "80 FR 35178 (9 CFR 430.4)"},
	{"test-rejected", []Disposition{Release}, func(_ limit.Verdict, f Facts) bool { return f.rejected() }, true, nil,
		"a test rejected the product by its plan, and nothing else undoes that", practice},
	{"test-pending", []Disposition{Release, Divert}, func(_ limit.Verdict, f Facts) bool { return f.pending() }, false, []Evidence{TestResults},
		"a test was ordered, and the product is held until its results are in", "77 FR 73401"},
	{"not-in-hand", []Disposition{Rework, Reprocess, Divert, Destroy}, at(Shipped), true, nil,
		"it has left: it is retrieved first, and then decided on again", practice},
	{"nothing-to-retrieve-for", []Disposition{Retrieve}, func(v limit.Verdict, _ Facts) bool { return v == limit.Met }, true, nil,
		"it met its limit after correction: there is nothing to retrieve it for", practice},
	{"not-left", []Disposition{Retrieve}, at(InControl), true, nil,
		"it has not left", "21 CFR 7.3(g) and (k), from memory"},
	{"back-already", []Disposition{Retrieve}, at(Retrieved), true, nil,
		"it has come back, and needs its second disposition", practice},
	{"kept-outside", []Disposition{Release}, at(Retrieved), false, []Evidence{AuthorityReport, QualifiedEvaluation},
		"it was out of the plant's hands, and how it was kept there has to be evaluated", practice},
}

func missed(v limit.Verdict, _ Facts) bool  { return v == limit.Missed }
func always(limit.Verdict, Facts) bool      { return true }
func touched(_ limit.Verdict, f Facts) bool { return f.ListeriaContact }

func at(p Place) func(limit.Verdict, Facts) bool {
	return func(_ limit.Verdict, f Facts) bool { return f.Where == p }
}

// ofRegime is what one regime adds to the table.
func ofRegime(g regime, v limit.Verdict, f Facts) []rule {
	var out []rule
	in := []Disposition{Release}
	switch {
	case v == limit.Missed && len(g.accepts) == 0:
		out = append(out, rule{name: "not-accepted", of: in, bars: true,
			why: "the limit was missed, and for " + g.name + " no evaluation is known on which it would be released", source: g.source})
	case v == limit.Missed:
		out = append(out, rule{name: "accepted-evaluation", of: in, oneOf: g.accepts,
			why: "the limit was missed, and for " + g.name + " only this evaluation lets it be released", source: g.source})
	case v != limit.Met && g.scheduled:
		out = append(out, rule{name: "scheduled-process", of: in, oneOf: []Evidence{AuthorityReport},
			why: "it is not shown to have had its scheduled process, and whether less is enough is for a processing authority", source: g.source})
	}
	if v != limit.Met && len(g.bars) > 0 {
		out = append(out, rule{name: "not-known-to-regime", of: g.bars, bars: true,
			why: g.name + " below its process is reprocessed, evaluated or destroyed", source: g.source})
	}
	if g.regime == EU && f.OthersInDoubt {
		out = append(out, rule{name: "part-of-batch", of: in, oneOf: []Evidence{DetailedAssessment},
			why: "another part of the batch is in doubt, and the whole is presumed unsafe without a detailed assessment", source: g.source})
	}
	return out
}

// applying lists the rows that have their say on one disposition.
func applying(d Disposition, v limit.Verdict, f Facts) []rule {
	var out []rule
	for _, r := range table {
		if slices.Contains(r.of, d) && r.when(v, f) {
			out = append(out, r)
		}
	}
	for i, g := range f.Regimes {
		if slices.Contains(f.Regimes[:i], g) {
			continue
		}
		for _, r := range ofRegime(lookUp(g), v, f) {
			if slices.Contains(r.of, d) {
				out = append(out, r)
			}
		}
	}
	return out
}
