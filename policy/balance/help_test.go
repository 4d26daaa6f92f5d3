package balance

import (
	"fmt"
	"math/big"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"lastgood/policy/unit"
)

// q reads "500 kg".
func q(s string) unit.Quantity {
	amount, of, _ := strings.Cut(s, " ")
	return unit.Quantity{Amount: amount, Unit: of}
}

func at(s string) *unit.Quantity {
	v := q(s)
	return &v
}

// done is a decision that was carried out as decided.
func done(f Fate, quantity string) Decision {
	d := Decision{Fate: f, Quantity: q(quantity), Done: at(quantity)}
	if f == Unrecoverable {
		d.Reason = "eaten"
	}
	if f == Reworked {
		d.Into = &Receiving{Lot: "R-1", Input: at(quantity), Because: InDoubtToo}
	}
	return d
}

// all is a portion with one decision for all of it.
func all(id string, f Fate, quantity string) Portion {
	return Portion{ID: id, Quantity: q(quantity), Decisions: []Decision{done(f, quantity)}}
}

func rat(s string) *big.Rat {
	r, ok := new(big.Rat).SetString(s)
	if !ok {
		panic(s)
	}
	return r
}

func (s Statement) line(f Fate) string {
	return Decimal(s.Lines[slices.IndexFunc(s.Lines, func(l Line) bool { return l.Fate == f })].Amount)
}

// broken lists the rules that findings name, each once.
func broken(found []Imbalance) []Rule {
	var out []Rule
	for _, f := range found {
		out = append(out, f.Rule)
	}
	return slices.Compact(out)
}

func has(found []Imbalance, r Rule) bool { return slices.Contains(broken(found), r) }

// exactly compares fractions by value.
var exactly = cmp.Comparer(func(x, y *big.Rat) bool {
	if x == nil || y == nil {
		return x == y
	}
	return x.Cmp(y) == 0
})

func want(t *testing.T, found []Imbalance, rules ...Rule) {
	t.Helper()
	if d := cmp.Diff(rules, broken(found)); d != "" {
		t.Errorf("the findings differ (-want +got):\n%s%s", d, sentences(found))
	}
}

func sentences(found []Imbalance) string {
	var b strings.Builder
	for _, f := range found {
		fmt.Fprintf(&b, "%s (%s): %s\n", f.Rule, f.Clause, f.Detail)
	}
	return b.String()
}

func hour(h int) time.Time { return time.Date(2026, 3, 2, h, 0, 0, 0, time.UTC) }
