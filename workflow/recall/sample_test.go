package recall

import (
	"encoding/csv"
	"fmt"
	"os"
	"slices"
	"testing"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"
)

// The levels as 21 CFR 7.42(b)(3) has them: row RC-09 of the published obligations.
func TestLevels(t *testing.T) {
	t.Parallel()
	f, err := os.Open("../../testdata/published/regulatory/obligations.csv")
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	i := slices.IndexFunc(rows, func(r []string) bool { return r[0] == "RC-09" })
	const says = "A 100 % of consignees; B a set % above 10 and below 100; C 10 %; D 2 %; E none"
	if i < 0 || rows[i][4] != says {
		t.Fatalf("RC-09 has changed: %v", rows[i])
	}
	for _, c := range []struct {
		level    Level
		share    int
		perMille int
		ok       bool
	}{{"A", 0, 1000, true}, {"B", 11, 110, true}, {"B", 99, 990, true}, {"B", 10, 0, false}, {"B", 100, 0, false}, {"B", 0, 0, false},
		{"C", 0, 100, true}, {"C", 10, 0, false}, {"D", 0, 20, true}, {"E", 0, 0, true}, {"", 0, 0, false}} {
		if n, ok := PerMille(c.level, c.share); ok != c.ok || ok && n != c.perMille {
			t.Errorf("%s with %d: %d %v", c.level, c.share, n, ok)
		}
	}
	for _, c := range [][3]int{{1, 20, 1}, {50, 20, 1}, {51, 20, 2}, {10, 100, 1}, {11, 100, 2}, {0, 1000, 0}, {7, 1000, 7}, {7, 0, 0}} { // RC-09: n × share, rounded up
		if got := Size(c[0], c[1]); got != c[2] {
			t.Errorf("of %d at %d per mille: %d, want %d", c[0], c[1], got, c[2])
		}
	}
}

// The same list and seed draw the same, in whatever order the list is written and
// however often a name stands in it; nobody is drawn twice or from outside.
func TestDraw(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(rt *rapid.T) {
		list := rapid.SliceOf(rapid.StringMatching(`[a-f]{1,2}`)).Draw(rt, "list")
		k, seed := rapid.IntRange(0, 50).Draw(rt, "k"), rapid.Int64().Draw(rt, "seed")
		from, drawn := Draw(list, k, seed)
		mixed := append(slices.Clone(list), list...)
		slices.Reverse(mixed)
		if again, other := Draw(mixed, k, seed); !slices.Equal(drawn, other) || !slices.Equal(from, again) {
			rt.Fatalf("%v and %v", drawn, other)
		}
		if len(drawn) != min(k, len(from)) || len(slices.Compact(slices.Clone(drawn))) != len(drawn) {
			rt.Fatalf("%d of %d: %v", k, len(from), drawn)
		}
		for _, d := range drawn {
			if !slices.Contains(list, d) {
				rt.Fatalf("%s is not among %v", d, list)
			}
		}
	})
}

// What a seed draws stays so from one version of the tool to the next: an inspector
// may ask in a year.
func TestDrawIsFrozen(t *testing.T) {
	t.Parallel()
	var list []string
	for i := range 20 {
		list = append(list, fmt.Sprintf("consignee %02d", i))
	}
	_, drawn := Draw(list, 3, 20250304)
	if diff := cmp.Diff([]string{"consignee 00", "consignee 12", "consignee 14"}, drawn); diff != "" { // computed here once: a change is a change of method
		t.Error(diff)
	}
}
