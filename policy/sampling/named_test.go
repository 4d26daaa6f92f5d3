package sampling_test

import (
	"fmt"
	"strconv"
	"strings"
	"testing"

	"lastgood/policy/sampling"
)

// namedPlan holds a published row against the plan of that name.
func namedPlan(t *testing.T, r row) {
	p, ok := sampling.ByID(id(t, r))
	want := r.plan(t)
	if !ok || p.N != want.N || p.C != want.C || p.Classes != want.Classes {
		t.Errorf("%s: n %d, c %d, %d classes; the named plan is %+v", r["id"], want.N, want.C, want.Classes, p)
		return
	}
	remembered := r["provenance"] == "memory" || strings.Contains(r["plan_or_case"], "from memory")
	if p.FromMemory != remembered {
		t.Errorf("%s: from memory %v, the named plan says %v", r["id"], remembered, p.FromMemory)
	}
	switch r["section"] {
	case "eu_2073_plan":
		limits(t, r, p)
	case "aql_6_5_plan":
		if got := lots(p); got != r["lot_size"] {
			t.Errorf("%s: for lots of %s, the named plan is for %s", r["id"], r["lot_size"], got)
		}
	}
}

// id is the name that a row's plan goes by.
func id(t *testing.T, r row) string {
	t.Helper()
	words := strings.FieldsFunc(r["plan_or_case"], func(c rune) bool { return c == ' ' || c == ':' })
	switch {
	case r["section"] == "icmsf_cases":
		return "icmsf-" + words[1]
	case r["section"] == "eu_2073_plan":
		return "eu2073-" + words[0]
	case strings.HasPrefix(r["source"], "21 CFR"):
		return "aql6.5-ii-" + r["n"]
	case strings.Contains(r["plan_or_case"], "inspection level I,"):
		return "aql6.5-i-" + r["n"]
	}
	t.Fatalf("%s: no name", r["id"])
	return ""
}

// limits compares m and M.
func limits(t *testing.T, r row, p sampling.Plan) {
	t.Helper()
	m, unit := amount(t, r["m"])
	if p.Limit == nil || *p.Limit != m || p.Unit != unit {
		t.Errorf("%s: m is %s, the named plan is %+v", r["id"], r["m"], p)
	}
	if r["M"] == "=m" {
		if p.Reject != nil {
			t.Errorf("%s: M is m, the named plan has one of its own", r["id"])
		}
		return
	}
	if M, _ := amount(t, r["M"]); p.Reject == nil || *p.Reject != M {
		t.Errorf("%s: M is %s, the named plan is %+v", r["id"], r["M"], p)
	}
}

// amount reads "5x10^5 cfu/g" and "absence in 25 g".
func amount(t *testing.T, s string) (float64, string) {
	t.Helper()
	if rest, ok := strings.CutPrefix(s, "absence "); ok {
		return 0, "detected " + rest
	}
	number, unit, _ := strings.Cut(s, " ")
	v, err := strconv.ParseFloat(strings.Replace(number, "x10^", "e", 1), 64)
	if err != nil {
		t.Fatal(err)
	}
	return v, unit
}

// lots writes the sizes of lot as the rows do.
func lots(p sampling.Plan) string {
	switch {
	case p.LotTo == 0:
		return fmt.Sprintf(">%d", p.LotFrom-1)
	case p.LotFrom == 1:
		return fmt.Sprintf("<=%d", p.LotTo)
	}
	return fmt.Sprintf("%d-%d", p.LotFrom, p.LotTo)
}

func TestNamedPlansAreWhole(t *testing.T) {
	t.Parallel()
	seen := map[string]bool{}
	cases := 0
	for _, p := range sampling.Named() {
		if err := p.Verify(); err != nil {
			t.Errorf("%s: %v", p.ID, err)
		}
		if seen[p.ID] || p.Name == "" || p.Source == "" {
			t.Errorf("%s: twice, or without name or source", p.ID)
		}
		seen[p.ID] = true
		if strings.HasPrefix(p.ID, "icmsf-") {
			cases++
		}
	}
	if cases != 15 { // ICMSF, Microorganisms in Foods 2 (1986): cases 1 to 15
		t.Errorf("%d cases of the ICMSF, want 15", cases)
	}
	if _, ok := sampling.ByID("icmsf-16"); ok {
		t.Error("there is no case 16")
	}
}

// TestCasesGetStricter: within a group of hazard, handling that raises it asks
// for a stricter plan. One reprint that swaps c in cases 2 and 3 fails this.
func TestCasesGetStricter(t *testing.T) {
	t.Parallel()
	for group := range 5 {
		last := 2.0
		for step := 1; step <= 3; step++ {
			p, _ := sampling.ByID(fmt.Sprintf("icmsf-%d", 3*group+step))
			rates := sampling.Rates{Defective: 0.1}
			if p.Classes == 3 {
				rates = sampling.Rates{Marginal: 0.1}
			}
			pa, err := p.Passes(rates)
			if err != nil {
				t.Fatal(err)
			}
			if pa >= last {
				t.Errorf("%s passes with %g, the case before with %g", p.ID, pa, last)
			}
			last = pa
		}
	}
}
