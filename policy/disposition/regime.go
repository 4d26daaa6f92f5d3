package disposition

import "slices"

// Regime is a set of rules that governs a limit.
type Regime string

// The regimes.
const (
	PreventiveControls Regime = "21_cfr_117"
	LowAcidCanned      Regime = "21_cfr_113"
	Acidified          Regime = "21_cfr_114"
	Juice              Regime = "21_cfr_120"
	Seafood            Regime = "21_cfr_123"
	MeatPoultry        Regime = "9_cfr_417"
	CannedMeat         Regime = "9_cfr_431"
	Milk               Regime = "pmo"
	EU                 Regime = "eu"
	Canada             Regime = "canada"
)

// regime is what one adds to the table.
type regime struct {
	regime Regime
	name   string
	// accepts is the evaluation on which it lets product that missed be released;
	// empty: none that the notes know of.
	accepts []Evidence
	// scheduled: product comes under a scheduled process, and whatever is not shown
	// to have had it waits for a processing authority.
	scheduled bool
	// bars are the dispositions that it does not know for what is not shown to have
	// met.
	bars   []Disposition
	note   string
	source string
	read   string // whether somebody opened the text
}

const (
	stored = "read in a stored copy"
	memory = "from memory"
)

var regimes = []regime{
	{PreventiveControls, "food under preventive controls", nil, false, nil,
		"all affected food is evaluated for safety and kept out of commerce unless it can be shown not to be adulterated",
		"21 CFR 117.150(a)(2)(iii) and (iv)", memory},
	{LowAcidCanned, "low-acid canned food", []Evidence{AuthorityReport}, true, []Disposition{Rework, Divert},
		"a process below schedule is fully repeated, or set aside until a competent processing authority has evaluated it by recognised procedures; else the product is destroyed",
		"21 CFR 113.89", memory},
	{Acidified, "acidified food", []Evidence{AuthorityReport}, true, []Disposition{Rework, Divert},
		"reprocessed by an adequate process, or processed as low-acid, or set aside for a processing authority; else destroyed",
		"21 CFR 114.89", memory},
	{Juice, "juice", nil, false, nil,
		"held until a trained person has reviewed whether it is acceptable and it was acted upon",
		"21 CFR 120.10(b)", memory},
	{Seafood, "fish and fishery products", nil, false, nil,
		"segregated and held until a trained person has reviewed it; cooked, diverted to another use or destroyed",
		"21 CFR 123.7(c)", stored},
	{MeatPoultry, "meat and poultry", []Evidence{ScientificEvaluation}, false, nil,
		"segregated and held, reviewed, acted upon; a cooking or cooling deviation may be evaluated by the agency's guideline; suspect product comes back to a plant only with the agency's permission",
		"9 CFR 417.3(b), 9 CFR 325.10", stored + ", but the evaluation " + memory},
	{CannedMeat, "canned meat and poultry", []Evidence{AuthorityReport}, true, nil,
		"handled by the plan, repeated, or held until a processing authority has evaluated it",
		"9 CFR 431.9 (was 318.308 and 381.308)", "the text before it " + stored},
	{Milk, "milk under the pasteurized milk ordinance", nil, false, nil,
		"milk below the legal temperature is diverted and pasteurised again",
		"PMO item 16p", memory},
	{EU, "food in the European Union", nil, false, nil,
		"a batch of which a part is unsafe is presumed unsafe, unless a detailed assessment shows that the rest is not",
		"Reg. (EC) 178/2002 art. 14(6)", memory},
	{Canada, "food under the Safe Food for Canadians Regulations", nil, false, nil,
		"what may be a risk is investigated at once, and the risk lessened at once",
		"SFCR s. 82(1) and (2)", "s. 82(1) " + stored + ", s. 82(2) " + memory},
}

// Note is what a regime says of product in doubt, in our words.
type Note struct {
	Regime Regime
	Name   string
	Text   string
	Source string
	Read   string // whether somebody opened the source
	// Accepts is the evaluation on which product that missed its limit may be
	// released; empty: none is known.
	Accepts []Evidence
}

// Notes returns what each regime says.
func Notes() []Note {
	out := make([]Note, len(regimes))
	for i, g := range regimes {
		out[i] = Note{g.regime, g.name, g.note, g.source, g.read, slices.Clone(g.accepts)}
	}
	return out
}

// lookUp returns a regime. One that is not in the table accepts nothing.
func lookUp(r Regime) regime {
	if i := slices.IndexFunc(regimes, func(g regime) bool { return g.regime == r }); i >= 0 {
		return regimes[i]
	}
	return regime{regime: r, name: "the regime " + string(r), source: "a regime that the table does not have"}
}

func scheduled(g regime) bool { return g.scheduled }
