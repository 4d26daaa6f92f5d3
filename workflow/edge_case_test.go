package workflow

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"lastgood/policy/limit"
	"lastgood/policy/unit"
	"lastgood/workflow/instrument"
	"lastgood/workflow/lot"
	"lastgood/workflow/reading"
)

// Edge cases of the design notes on the procedure, §12, that need a plant. Those
// that a folder of files can tell are in testdata/cases.

// assessed returns what a run says of a lot.
func assessed(t tb, r Run, lotCode string) Assessment {
	t.Helper()
	for _, a := range r.Assessments {
		if a.Lot == lotCode {
			return a
		}
	}
	t.Fatalf("the run says nothing of lot %s: %+v", lotCode, r.Assessments)
	return Assessment{}
}

// TestWithoutALastGoodCheckTheLevelIsOneHigher: a new thermometer fails its first
// check. All that it read since it went into service is in doubt and unknown,
// however hot; and that is graver by one level than for a thermometer that was
// lost but had once been good.
func TestWithoutALastGoodCheckTheLevelIsOneHigher(t *testing.T) {
	t.Parallel()
	s := newSite(t)
	since := march(1, 0, 0)
	s.added(s.AddInstruments(s.ctx, s.sc, []instrument.Instrument{{Code: "T-9", Kind: "thermocouple", Unit: unit.CelsiusScale,
		Tolerance: unit.PerDegree, InServiceFrom: &since}}))
	s.makes("first", "early", "lost")
	s.reads(cooked("T-9", march(1, 0, 1), 90, "first"), cooked("T-9", march(2, 0, 0), 90, "early"), cooked("T-1", march(3, 0, 0), 90, "lost"))
	d := s.fails("T-9", march(5, 6, 0))
	s.holds(d, "first", "early")
	run := s.trace(d)
	if run.LastGoodAt != nil || run.After == nil || !run.After.Equal(since) {
		t.Errorf("last good %v, in doubt after %v, want none and the going into service", run.LastGoodAt, run.After)
	}
	if !strings.Contains(strings.Join(run.Notes, "\n"), "no last good check") {
		t.Errorf("it is not said: %q", run.Notes)
	}
	gone := s.record(instrument.Check{Instrument: "T-1", PerformedAt: march(5, 6, 0), PerformedBy: "tech-1", Unusable: true})
	known := assessed(t, s.trace(gone[0]), "lost")
	for _, code := range []string{"first", "early"} {
		a := assessed(t, run, code)
		if a.Result.Verdict != limit.Unknown || a.Impact.Level != known.Impact.Level+1 {
			t.Errorf("%s: %s at level %d; want unknown, and one above %d", code, a.Result.Verdict, a.Impact.Level, known.Impact.Level)
		}
	}
}

// TestProductMixedInATankIsHeldWhole: what went into a tank cannot be told apart
// again: all that was drawn from it is in doubt, up to the cleaning after which
// the tank was filled anew; the good delivery that was poured to it is not.
func TestProductMixedInATankIsHeldWhole(t *testing.T) {
	t.Parallel()
	s := newSite(t)
	s.makes("delivery-bad", "delivery-good", "delivery-later", "tank-1", "tank-2", "bottles-1", "bottles-2", "bottles-3", "blend")
	s.reads(cooked("T-1", march(3, 7, 0), 72, "delivery-bad"), cooked("T-2", march(3, 7, 30), 72, "delivery-good"))
	s.turns("delivery-bad", "tank-1", march(3, 8, 0))
	s.turns("delivery-good", "tank-1", march(3, 9, 0))
	s.turns("tank-1", "bottles-1", march(3, 8, 30)) // before the good delivery came to it
	s.turns("tank-1", "bottles-2", march(3, 10, 0))
	s.turns("bottles-2", "blend", march(4, 8, 0))
	s.turns("delivery-later", "tank-2", march(3, 14, 0)) // the same tank after its cleaning
	s.turns("tank-2", "bottles-3", march(3, 15, 0))
	d := s.fails("T-1", march(5, 6, 0))
	s.trace(d)
	s.holds(d, "delivery-bad", "tank-1", "bottles-1", "bottles-2", "blend")
}

// TestProductThatHasAllGoneIsReviewedForRecall: a product of one season, past its
// date, none of it left. There is nothing to hold; the lots are judged all the
// same, and those not shown to have met their limit go to the people who decide
// on a recall, with who got them.
func TestProductThatHasAllGoneIsReviewedForRecall(t *testing.T) {
	t.Parallel()
	s := newSite(t)
	yes, days := true, 2
	s.added(s.AddProducts(s.ctx, s.sc, []lot.Product{{Code: "roast", Name: "winter roast", ReadyToEat: &yes, ShelfLifeDays: &days}}))
	s.makes("doubtful", "short", "good")
	s.reads(cooked("T-1", march(3, 7, 0), 72, "doubtful"), cooked("T-1", march(3, 8, 0), 69, "short"), cooked("T-1", march(3, 9, 0), 78, "good"))
	for _, code := range []string{"doubtful", "short", "good"} {
		s.ships(code, "100", march(3, 12, 0))
	}
	d := s.fails("T-1", march(20, 6, 0))
	s.holds(d)
	run := s.trace(d)
	s.holds(d)
	for code, want := range map[string]struct {
		verdict limit.Verdict
		route   string
	}{
		"doubtful": {limit.Indeterminate, "recall_review"}, "short": {limit.Missed, "recall_review"}, "good": {limit.Met, "release_with_record"},
	} {
		if a := assessed(t, run, code); a.Result.Verdict != want.verdict || a.Route != want.route {
			t.Errorf("%s: %s, %s; want %s, %s", code, a.Result.Verdict, a.Route, want.verdict, want.route)
		}
	}
	r, err := s.Report(s.ctx, s.sc, d.ID)
	s.must(err)
	var gone []string
	for _, x := range r.Shipped {
		gone = append(gone, x.Lot+" "+x.Consignee)
	}
	slices.Sort(gone)
	if want := []string{"doubtful a customer", "good a customer", "short a customer"}; !slices.Equal(gone, want) {
		t.Errorf("shipped: %q, want %q", gone, want)
	}
}

// TestAHundredThousandReadingsAreTraced: a hundred lots with a thousand readings
// each, sent in two halves of every other reading. Lot i was once as cold as
// 70.0 + i/10 °C and 76 °C otherwise. The error lay between 0 and 3 °C, give or
// take 0.2: the coldest was at least 3.2 °C less and at most 0.2 °C more. So those
// below 70.8 °C missed 71 °C, those from 74.2 °C on met it, and 34 are between.
func TestAHundredThousandReadingsAreTraced(t *testing.T) {
	t.Parallel()
	s := newSite(t)
	const lots, each = 100, 1000
	var halves [2][]reading.Reading
	for n := range lots * each {
		i, value := n%lots, 76.0
		if n/lots == i*7 { // each lot's coldest somewhere else
			value = math.Round((70+float64(i)/10)*10) / 10
		}
		r := cooked("T-1", march(3, 0, 0).Add(time.Duration(n)*time.Second), value, fmt.Sprintf("lot-%02d", i))
		halves[n%2] = append(halves[n%2], r)
	}
	s.reads(halves[1]...)
	s.reads(halves[0]...)
	run := s.trace(s.fails("T-1", march(5, 6, 0)))
	if run.Readings != lots*each || run.Unmatched != 0 || len(run.Assessments) != lots {
		t.Fatalf("%d readings, %d of them without a lot, and %d lots", run.Readings, run.Unmatched, len(run.Assessments))
	}
	for i, a := range run.Assessments {
		want := limit.Indeterminate
		switch {
		case i < 8:
			want = limit.Missed
		case i >= 42:
			want = limit.Met
		}
		coldest := math.Min(70+float64(i)/10, 76)
		if a.Lot != fmt.Sprintf("lot-%02d", i) || a.Result.Verdict != want || a.Result.Readings != each || math.Abs(*a.Result.Measure.Recorded-coldest) > 1e-9 {
			t.Errorf("%s: %s, %d readings, coldest %v; want %s and %v", a.Lot, a.Result.Verdict, a.Result.Readings, *a.Result.Measure.Recorded, want, coldest)
		}
	}
}
