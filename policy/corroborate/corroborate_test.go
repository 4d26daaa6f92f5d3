package corroborate_test

import (
	"testing"

	"pgregory.net/rapid"

	"lastgood/policy/corroborate"
	"lastgood/policy/limit"
	"lastgood/policy/metrology"
	"lastgood/policy/unit"
)

var (
	agrees    = corroborate.Agreement{Tested: true, Pairs: 3, Largest: 0.4}
	disagrees = corroborate.Agreement{Tested: true, Pairs: 3, Largest: 1.2}
)

func TestSettle(t *testing.T) {
	t.Parallel()
	type T = corroborate.Testimony
	for name, x := range map[string]struct {
		own  limit.Result
		list []corroborate.Testimony
		want limit.Verdict
		by   int
	}{
		"alone":                          {limit.Result{Verdict: limit.Indeterminate}, nil, limit.Indeterminate, 0},
		"clears a doubt":                 {limit.Result{Verdict: limit.Indeterminate}, []T{{"P-2", "", limit.Met, 3, agrees}}, limit.Met, 1},
		"clears the unknown":             {limit.Result{Verdict: limit.Unknown}, []T{{"P-2", "", limit.Met, 3, corroborate.Agreement{Impossible: true}}}, limit.Met, 1},
		"no pair to compare":             {limit.Result{Verdict: limit.Indeterminate}, []T{{"P-2", "", limit.Met, 3, corroborate.Agreement{}}}, limit.Indeterminate, 0},
		"one reading left alone":         {limit.Result{Verdict: limit.Indeterminate}, []T{{"P-2", "", limit.Met, 3, corroborate.Agreement{Tested: true, Pairs: 2, Alone: 1}}}, limit.Indeterminate, 0},
		"unknown, and left alone":        {limit.Result{Verdict: limit.Unknown}, []T{{"P-2", "", limit.Met, 1, corroborate.Agreement{Impossible: true, Alone: 1}}}, limit.Unknown, 0},
		"disagrees and is met":           {limit.Result{Verdict: limit.Indeterminate}, []T{{"P-2", "", limit.Met, 3, disagrees}}, limit.Indeterminate, 0},
		"disagrees with a lot met":       {limit.Result{Verdict: limit.Met}, []T{{"P-2", "", limit.Met, 3, disagrees}}, limit.Indeterminate, 0},
		"a good probe's miss":            {limit.Result{Verdict: limit.Met}, []T{{"P-2", "", limit.Missed, 3, agrees}}, limit.Indeterminate, 0},
		"one clears and another misses":  {limit.Result{Verdict: limit.Unknown}, []T{{"P-2", "", limit.Met, 3, agrees}, {"P-3", "", limit.Missed, 3, agrees}}, limit.Unknown, 0},
		"never a miss":                   {limit.Result{Verdict: limit.Missed}, []T{{"P-2", "", limit.Met, 3, agrees}}, limit.Missed, 0},
		"never a miss as recorded":       {limit.Result{Verdict: limit.Indeterminate, MissedAsRecorded: true}, []T{{"P-2", "", limit.Met, 3, agrees}}, limit.Indeterminate, 0},
		"refused: shown, and no more":    {limit.Result{Verdict: limit.Indeterminate}, []T{{"P-2", "no check after", limit.Met, 3, agrees}}, limit.Indeterminate, 0},
		"refused does not make it worse": {limit.Result{Verdict: limit.Met}, []T{{"P-2", "no check after", limit.Missed, 3, disagrees}}, limit.Met, 0},
		"undecided itself":               {limit.Result{Verdict: limit.Unknown}, []T{{"P-2", "", limit.Indeterminate, 3, agrees}}, limit.Unknown, 0},
	} {
		got := corroborate.Settle(x.own, x.list)
		if got.Verdict != x.want || len(got.By) != x.by {
			t.Errorf("%s: %s by %v, want %s by %d", name, got.Verdict, got.By, x.want, x.by)
		}
		if len(x.list) > 0 && len(got.Reasons) == 0 {
			t.Errorf("%s: nothing is said of the second instrument", name)
		}
	}
}

// TestSettleNeverWeakens: nothing that a second instrument says turns a miss, as
// recorded or not, into met; and what does not count changes nothing.
func TestSettleNeverWeakens(t *testing.T) {
	t.Parallel()
	verdicts := []limit.Verdict{limit.Met, limit.Indeterminate, limit.Missed, limit.Unknown}
	rapid.Check(t, func(t *rapid.T) {
		own := limit.Result{Verdict: rapid.SampledFrom(verdicts).Draw(t, "own"), MissedAsRecorded: rapid.Bool().Draw(t, "missed")}
		var list []corroborate.Testimony
		counts := false
		for range rapid.IntRange(0, 3).Draw(t, "n") {
			x := corroborate.Testimony{Instrument: "P-2", Verdict: rapid.SampledFrom(verdicts).Draw(t, "verdict"),
				Refused: rapid.SampledFrom([]string{"", "no check after"}).Draw(t, "refused"),
				Agreement: corroborate.Agreement{Tested: rapid.Bool().Draw(t, "tested"), Impossible: rapid.Bool().Draw(t, "impossible"),
					Largest: rapid.Float64Range(0, 2).Draw(t, "E_n")}}
			counts = counts || x.Refused == ""
			list = append(list, x)
		}
		got := corroborate.Settle(own, list)
		if got.Verdict == limit.Met && own.Verdict != limit.Met && (own.Verdict == limit.Missed || own.MissedAsRecorded) {
			t.Fatalf("%+v became met", own)
		}
		if !counts && got.Verdict != own.Verdict {
			t.Fatalf("%s became %s by nothing that counts", own.Verdict, got.Verdict)
		}
		if own.Verdict == limit.Missed && got.Verdict != limit.Missed {
			t.Fatalf("missed became %s", got.Verdict)
		}
	})
}

// TestAgree: worked by hand. 74.0 read with a bracket of 1.0 ± 0.3 is 73.0 ± 0.3;
// 73.4 read with 0.0 ± 0.4 is 73.4 ± 0.4: E_n = −0.4/0.5 = −0.8.
func TestAgree(t *testing.T) {
	t.Parallel()
	path := func(at int64, read unit.Micro, lo, hi unit.CelsiusDiff) limit.Path {
		return limit.Path{At: at, Standing: metrology.Known, Recorded: read, Error: metrology.Bounds{Lo: lo, Hi: hi}}
	}
	first := []limit.Path{path(0, 74_000_000, 0.7, 1.3)}
	for name, x := range map[string]struct {
		second []limit.Path
		want   corroborate.Agreement
		holds  bool
	}{
		"agrees":         {[]limit.Path{path(5, 73_400_000, -0.4, 0.4)}, corroborate.Agreement{Tested: true, Pairs: 1, Largest: 0.8}, true},
		"disagrees":      {[]limit.Path{path(5, 73_600_000, -0.4, 0.4)}, corroborate.Agreement{Tested: true, Pairs: 1, Largest: 1.2}, false},
		"too far apart":  {[]limit.Path{path(11, 73_400_000, -0.4, 0.4)}, corroborate.Agreement{Alone: 1}, false},
		"the nearest":    {[]limit.Path{path(-9, 99_000_000, -0.4, 0.4), path(2, 73_400_000, -0.4, 0.4)}, corroborate.Agreement{Tested: true, Pairs: 1, Largest: 0.8}, true},
		"nothing to see": {nil, corroborate.Agreement{Alone: 1}, false},
	} {
		got := corroborate.Agree(first, x.second, unit.CelsiusScale, 10)
		if d := got.Largest - x.want.Largest; got.Tested != x.want.Tested || got.Pairs != x.want.Pairs || got.Alone != x.want.Alone || d > 1e-9 || d < -1e-9 || got.Holds() != x.holds {
			t.Errorf("%s: %+v, want %+v", name, got, x.want)
		}
	}
	unknown := []limit.Path{{At: 0, Standing: metrology.Unknown, Recorded: 74_000_000}}
	if got := corroborate.Agree(unknown, first, unit.CelsiusScale, 10); !got.Impossible || got.Tested {
		t.Errorf("an unknown error was compared: %+v", got)
	}
}
