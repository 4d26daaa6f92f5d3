package sampling

import "fmt"

// Named returns the plans that are published under a name. Limits are nil where
// they depend on the product. None of them is in force by being here: a site's
// policy and its food law choose.
func Named() []Plan {
	var out []Plan
	out = append(out, icmsf()...)
	out = append(out, union()...)
	out = append(out, prepackaged()...)
	return append(out, salmonella()...)
}

// ByID returns the published plan of that name.
func ByID(id string) (Plan, bool) {
	for _, p := range Named() {
		if p.ID == id {
			return p, true
		}
	}
	return Plan{}, false
}

// icmsf are the fifteen cases: five groups of hazard, each where handling after
// sampling lowers it, leaves it as it is or raises it. One reprint swaps c in
// cases 2 and 3.
func icmsf() []Plan {
	groups := []string{"utility: spoilage, shelf life", "indicator, low indirect hazard",
		"moderate direct hazard, limited spread", "moderate direct hazard, extensive spread", "severe direct hazard"}
	handling := []string{"reduced", "unchanged", "increased"}
	nc := [15][2]int{{5, 3}, {5, 2}, {5, 1}, {5, 3}, {5, 2}, {5, 1}, {5, 2}, {5, 1}, {10, 1},
		{5, 0}, {10, 0}, {20, 0}, {15, 0}, {30, 0}, {60, 0}}
	opened := map[int]bool{4: true, 8: true, 10: true, 11: true, 13: true, 15: true}
	out := make([]Plan, 0, len(nc))
	for i, v := range nc {
		p := Plan{ID: fmt.Sprintf("icmsf-%d", i+1), N: v[0], C: v[1], Classes: 3,
			Name:   fmt.Sprintf("ICMSF case %d: %s, %s by handling", i+1, groups[i/3], handling[i%3]),
			Source: "ICMSF, Microorganisms in Foods 2 (1986), table of cases", FromMemory: !opened[i+1]}
		if i+1 >= 10 {
			p.Classes = 2
		}
		out = append(out, p)
	}
	return out
}

// union are rows of Regulation (EC) 2073/2005, Annex I, as amended to 2010. It
// has been amended often since: confirm before use.
func union() []Plan {
	absent := func(id, name string, n int, memory bool) Plan {
		return Plan{ID: "eu2073-" + id, Name: name, N: n, Classes: 2, Unit: "detected in 25 g", Limit: new(0.0),
			Source: "Regulation (EC) 2073/2005, Annex I, row " + id, FromMemory: memory}
	}
	counted := func(id, name string, c int, m, M float64, unit string, memory bool) Plan {
		p := Plan{ID: "eu2073-" + id, Name: name, N: 5, C: c, Classes: 2, Unit: unit, Limit: &m,
			Source: "Regulation (EC) 2073/2005, Annex I, row " + id, FromMemory: memory}
		if M > m {
			p.Classes, p.Reject = 3, &M
		}
		return p
	}
	return []Plan{
		absent("1.1", "Listeria monocytogenes, ready to eat, for infants or special medical purposes", 10, false),
		counted("1.3", "Listeria monocytogenes, ready to eat, unable to support its growth", 0, 100, 100, "cfu/g", false),
		absent("1.5", "Salmonella, poultry minced meat and preparations eaten cooked", 5, false),
		absent("1.22", "Salmonella, dried infant formulae", 30, true),
		counted("2.1.6a", "aerobic colony count, minced meat", 2, 5e5, 5e6, "cfu/g", true),
		counted("2.1.6b", "E. coli, minced meat", 2, 50, 500, "cfu/g", true),
		counted("2.2.1", "Enterobacteriaceae, pasteurised milk; m from memory", 0, 10, 10, "cfu/ml", true),
		counted("2.2.6", "E. coli, butter and cream from raw milk", 2, 10, 100, "cfu/g", true),
	}
}

// prepackaged are the plans of AQL 6.5 for packages up to 1 kg, by lot size.
func prepackaged() []Plan {
	bounds := []int{0, 4_800, 24_000, 48_000, 84_000, 144_000, 240_000, 0}
	usual := [7][2]int{{13, 2}, {21, 3}, {29, 4}, {48, 6}, {84, 9}, {126, 13}, {200, 19}}
	less := [7][2]int{{6, 1}, {13, 2}, {21, 3}, {29, 4}, {38, 5}, {48, 6}, {60, 7}}
	var out []Plan
	for i, v := range usual {
		out = append(out, bySize("aql6.5-ii", "21 CFR 158.3(f)", v, bounds[i], bounds[i+1]))
		out[i].FromMemory = i == 1 || i == 5 // the two rows of which only n and c were seen
	}
	for i, v := range less {
		p := bySize("aql6.5-i", "Codex CXS 233-1969, inspection level I", v, bounds[i], bounds[i+1])
		p.FromMemory = true
		out = append(out, p)
	}
	return out
}

func bySize(id, source string, nc [2]int, over, to int) Plan {
	return Plan{ID: fmt.Sprintf("%s-%d", id, nc[0]), N: nc[0], C: nc[1], Classes: 2, Unit: "defective", Limit: new(0.0),
		Name: fmt.Sprintf("AQL 6.5, packages up to 1 kg, n %d c %d", nc[0], nc[1]), LotFrom: over + 1, LotTo: to, Source: source}
}

// salmonella are the three categories of food, of which only the second was
// seen as a plan.
func salmonella() []Plan {
	var out []Plan
	for i, n := range []int{60, 30, 15} {
		category := []string{"i", "ii", "iii"}[i]
		out = append(out, Plan{ID: "fda-salmonella-" + category, Name: "Salmonella, food category " + category,
			N: n, Classes: 2, Unit: "detected in 25 g", Limit: new(0.0),
			Source: "FDA Bacteriological Analytical Manual, chapter 1", FromMemory: category != "ii"})
	}
	return out
}
