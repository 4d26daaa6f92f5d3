package workflow

import (
	"fmt"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"lastgood/policy/metrology"
	"lastgood/policy/unit"
	"lastgood/workflow/reading"
)

// exported returns the readings of an export.
func (s *site) exported(d Deviation) (out []ExportReading) {
	s.Helper()
	x, err := s.Export(s.ctx, s.sc, d.ID, true)
	s.must(err)
	for r, err := range x.Readings() {
		s.must(err)
		out = append(out, r)
	}
	return out
}

func lines(list []ExportReading) (out []string) {
	for _, r := range list {
		out = append(out, fmt.Sprint(r.Lot, " ", r.Limit, " ", r.Via, " ", r.Location, " ", time.UnixMicro(r.At).UTC().Format("2T15:04"), " ", r.Value))
	}
	return out
}

// Every reading that a lot was judged by is in the export, of both places or
// times that it was in, and is the same as the assessment shows.
func TestExportHasTheReadingsOfEveryLot(t *testing.T) {
	t.Parallel()
	s := newSite(t)
	s.makes("cooked", "stored")
	s.hangs()
	s.stood("stored", march(3, 6, 0), march(3, 7, 0))
	s.stood("stored", march(3, 12, 0), march(3, 13, 0))
	s.reads(cooked("T-1", march(3, 5, 0), 72, "cooked"), cooked("T-1", march(3, 4, 0), 71.5, "cooked"))
	s.reads(inRoom("T-1", march(3, 6, 0), march(3, 14, 0), 3)...)
	d := s.fails("T-1", march(5, 6, 0))
	s.trace(d)
	got := s.exported(d)
	want := []string{"cooked cook reading  3T04:00 71.5", "cooked cook reading  3T05:00 72", "stored chill mounting cooler 3T06:00 3", "stored chill mounting cooler 3T06:30 3",
		"stored chill mounting cooler 3T07:00 3", "stored chill mounting cooler 3T12:00 3", "stored chill mounting cooler 3T12:30 3", "stored chill mounting cooler 3T13:00 3"}
	if d := cmp.Diff(want, lines(got)); d != "" {
		t.Error(d)
	}
	b, err := s.Basis(s.ctx, s.sc, d.ID, "cooked", "cook")
	s.must(err)
	if d := cmp.Diff(b.Readings, []BasisReading{got[0].BasisReading, got[1].BasisReading}); d != "" {
		t.Errorf("the export and the assessment differ:\n%s", d)
	}
}

// A reading that the clock leaves open whether it was taken during the stay is
// there once, not once for every way that the stay may have been.
func TestExportHasAReadingOnce(t *testing.T) {
	t.Parallel()
	s := newSite(t)
	s.makes("stored")
	s.hangs()
	s.stood("stored", march(3, 6, 0), march(3, 8, 0))
	s.clockOff("T-1", seconds(0), 30*time.Minute)
	s.reads(inRoom("T-1", march(3, 5, 0), march(3, 9, 0), 3)...)
	d := s.fails("T-1", march(5, 6, 0))
	s.trace(d)
	seen := map[int64]bool{}
	got := s.exported(d)
	for _, r := range got {
		if seen[r.At] {
			t.Errorf("twice: %v", lines([]ExportReading{r}))
		}
		seen[r.At] = true
	}
	if len(got) != 7 { // from 5:30 to 8:30
		t.Errorf("%q", lines(got))
	}
}

// A reading for which no limit is in force is there as it was recorded.
func TestExportOfAReadingWithoutALimit(t *testing.T) {
	t.Parallel()
	s := newSite(t)
	s.makes("A")
	s.reads(reading.Reading{Instrument: "T-1", TakenAt: march(3, 5, 0), Value: 70, Decimals: 1, Unit: unit.CelsiusScale, Lot: "A"})
	d := s.fails("T-1", march(5, 6, 0))
	s.trace(d)
	got := s.exported(d)
	if len(got) != 1 || got[0].Value != 70 || got[0].Standing != metrology.Unknown || got[0].Corrected != unit.Unknown || got[0].LimitIn != "" {
		t.Errorf("%+v", got)
	}
}

// The genealogy has what went into a lot in doubt besides, so that quantities
// add up.
func TestExportGenealogy(t *testing.T) {
	t.Parallel()
	s := newSite(t)
	s.makes("A", "B", "good", "else")
	s.turns("A", "B", march(3, 8, 0))
	s.turns("good", "B", march(3, 8, 0))
	s.turns("good", "else", march(3, 9, 0))
	s.reads(cooked("T-1", march(3, 5, 0), 72, "A"))
	d := s.fails("T-1", march(5, 6, 0))
	x, err := s.Export(s.ctx, s.sc, d.ID, false)
	s.must(err)
	var edges, lots []string
	for _, e := range x.Edges {
		edges = append(edges, fmt.Sprint(e.Input, e.InputInDoubt, " ", e.Output, e.OutputInDoubt, " ", *e.InputQuantity, *e.Unit))
	}
	for _, l := range x.Lots {
		lots = append(lots, fmt.Sprint(l.Lot, " ", l.BecauseOf, " ", *l.Product, " ", *l.Quantity))
	}
	if d := cmp.Diff([]string{"Atrue Btrue 10kg", "goodfalse Btrue 10kg"}, edges); d != "" {
		t.Error(d)
	}
	if d := cmp.Diff([]string{"A A roast 100", "B A roast 100"}, lots); d != "" {
		t.Error(d)
	}
	for r := range x.Readings() {
		t.Errorf("nobody asked for %+v", r)
	}
	if x.Run.Number != 0 || x.SameEvidence() {
		t.Errorf("run %d", x.Run.Number)
	}
}
