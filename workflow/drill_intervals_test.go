package workflow

import (
	"fmt"
	"math"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"lastgood/policy/interval"
	"lastgood/workflow/instrument"
	"lastgood/workflow/lot"
)

// A lot of 100 kg every day at noon from the 3rd to the 12th, and one that hung
// in the cooler from the 5th to the 7th: what a failed check finds in doubt, by
// hand.
func TestIntervalsCountWhatWasRead(t *testing.T) {
	t.Parallel()
	s := newSite(t)
	for day := 3; day <= 12; day++ {
		code := fmt.Sprintf("D-%02d", day)
		s.makes(code)
		s.reads(cooked("T-1", march(day, 12, 0), 75, code))
	}
	to := march(7, 0, 0)
	s.added(s.AddLots(s.ctx, s.sc, []lot.Lot{{Code: "hung"}}))
	s.added(s.AddMountings(s.ctx, s.sc, []instrument.Mounting{{Instrument: "T-1", Location: "cooler", From: march(5, 0, 0), To: &to}}))
	s.added(s.AddStays(s.ctx, s.sc, []lot.Stay{{Lot: "hung", Location: "cooler", From: march(4, 0, 0)}}))
	r, err := s.Intervals(s.ctx, s.sc, "T-1", interval.Aim{})
	s.must(err)
	if r.Readings != 10 || r.Lots != 11 || r.Unweighed != 1 || r.Stated || r.Present != 1 {
		t.Errorf("%d readings, %d lots, %d unweighed, present %v (%v)", r.Readings, r.Lots, r.Unweighed, r.Present, r.Stated)
	}
	// The record has 9 days. At one day, every moment sees one day's lot, and for
	// 3 of the 8 days the one that hung; at noon itself a new one comes as the old
	// one goes.
	want := map[float64]Exposed{
		1:  {true, 1 + 3./8, 2, []ExposedQuantity{{"kg", 100, 100}}},
		7:  {true, 7 + 1, 8, []ExposedQuantity{{"kg", 700, 700}}},
		14: {},
	}
	for i, c := range r.Report.Candidates {
		w, asked := want[c.Days]
		if !asked {
			continue
		}
		near := cmp.Comparer(func(a, b float64) bool { return math.Abs(a-b) < 1e-6 })
		if diff := cmp.Diff(w, r.Exposures[i], near); diff != "" {
			t.Errorf("at %v days:\n%s", c.Days, diff)
		}
		delete(want, c.Days)
	}
	if len(want) > 0 {
		t.Errorf("not compared: %v", want)
	}
	if got := r.Report.Observed; got.Spans != 1 || got.Within != 1 {
		t.Errorf("%+v: the check of the 2nd ended the interval since going into service", got)
	}
}

func TestIntervalsOfAnInstrumentThatNeverRead(t *testing.T) {
	t.Parallel()
	s := newSite(t)
	r, err := s.Intervals(s.ctx, s.sc, "T-2", interval.Aim{})
	s.must(err)
	if r.From != nil || r.Lots != 0 || len(r.Exposures) != len(r.Report.Candidates) || r.Exposures[0].Counted {
		t.Errorf("%+v", r)
	}
	if r.Report.Suggestion.Advice != interval.TooFew {
		t.Errorf("advice %q from one check", r.Report.Suggestion.Advice)
	}
}

// The count over all moments is what looking at each moment finds.
func TestExposureIsWhatEachMomentSees(t *testing.T) {
	t.Parallel()
	start := time.UnixMicro(0).UTC()
	rapid.Check(t, func(t *rapid.T) {
		length := rapid.Int64Range(1, 12).Draw(t, "length")
		end := rapid.Int64Range(length, 40).Draw(t, "end")
		var list []visit
		for id := range rapid.Int64Range(1, 6).Draw(t, "lots") {
			first := int64(0)
			for range rapid.IntRange(1, 3).Draw(t, "visits") {
				first = rapid.Int64Range(first, 40).Draw(t, "first")
				last := rapid.Int64Range(first, 45).Draw(t, "last")
				if last > 0 && first <= end {
					list = append(list, visit{Lot: id, First: start.Add(time.Duration(first) * time.Microsecond), Last: start.Add(time.Duration(last) * time.Microsecond)})
				}
			}
		}
		to := start.Add(time.Duration(end) * time.Microsecond)
		r := Intervals{From: &start, To: &to}
		got := r.exposed(list, float64(length)/microsPerDay)
		sum, worst := 0.0, 0.0
		for at := length; at <= end; at++ {
			seen := map[int64]bool{}
			for _, v := range list {
				if v.First.UnixMicro() <= at && v.Last.UnixMicro() > at-length {
					seen[v.Lot] = true
				}
			}
			sum, worst = sum+float64(len(seen)), max(worst, float64(len(seen)))
		}
		if mean := sum / float64(end+1-length); math.Abs(got.MeanLots-mean) > 1e-9 || got.WorstLots != worst {
			t.Fatalf("mean %v, worst %v; each moment says %v and %v", got.MeanLots, got.WorstLots, mean, worst)
		}
	})
}
