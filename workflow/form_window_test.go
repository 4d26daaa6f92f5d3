package workflow

import (
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"lastgood/policy/disposition"
	"lastgood/policy/document"
	"lastgood/policy/metrology"
	"lastgood/policy/unit"
	"lastgood/workflow/fault"
	"lastgood/workflow/instrument"
	"lastgood/workflow/signoff"
)

// returns puts an instrument back into use, with both signatures.
func (s *site) returns(code string) {
	s.Helper()
	r, err := s.AskToReturn(s.ctx, s.as(disposition.CalibrationTechnician), code, "it was mended")
	s.must(err)
	s.must(s.signs(disposition.CalibrationTechnician, r))
	s.must(s.signs(disposition.QALead, r))
}

// inThree is a check in °F at ice, at 160 °F and in boiling water at 1500 ft that
// found an error at each; nil: not made there.
func inThree(at time.Time, ice, cook, boiling *float64) instrument.Check {
	c := instrument.Check{Instrument: "T-F", PerformedAt: at, PerformedBy: "tech-1", VerifiedBy: "tech-2"}
	for _, p := range []struct {
		kind  instrument.PointKind
		right float64
		off   *float64
	}{{instrument.Ice, 32, ice}, {instrument.Comparison, 160, cook}, {instrument.Boiling, 209.2186, boiling}} { // 98.4548 °C: boiling_point.csv BP0150
		if p.off == nil {
			continue
		}
		pt := instrument.CheckPoint{Kind: p.kind, Unit: unit.FahrenheitScale, Found: micro(p.right + *p.off)}
		if p.kind == instrument.Comparison {
			pt.ReferenceReading, pt.ReferenceUncertainty = micro(p.right), micro(0.2)
		}
		c.Points = append(c.Points, pt)
	}
	return c
}

// failedInThree is a probe that failed in ice, at its limit and in boiling water, and
// was taken out of use a quarter of an hour later.
func failedInThree(t *testing.T) (*site, Deviation) {
	t.Helper()
	s := kitchen(t)
	s.employ()
	s.makes("A")
	good, high := 0.0, 5.0
	s.record(inThree(march(4, 0, 0), &good, &good, &good))
	r := cooked("T-F", march(5, 0, 0), 170, "A")
	r.Unit = unit.FahrenheitScale
	s.reads(r)
	opened := s.record(inThree(march(9, 0, 0), &high, &high, &high))
	if len(opened) != 1 {
		t.Fatalf("%d deviations", len(opened))
	}
	s.happens("T-F", march(9, 0, 15), instrument.RemovedFromUse)
	s.contained(opened[0])
	return s, opened[0]
}

func (s *site) window(d Deviation) string {
	s.Helper()
	var spans []string
	s.query(&spans, `select span::text from deviation_window where deviation_id = $1`, d.ID)
	return spans[0]
}

func (s *site) openPoints(code string) []string {
	s.Helper()
	st, err := s.InstrumentStanding(s.ctx, s.sc, code)
	s.must(err)
	return st.Open
}

// A return may not open again the window that the removal from use closed.
func TestReturnAsksForAllThatFailed(t *testing.T) {
	t.Parallel()
	s, d := failedInThree(t)
	closed := s.window(d)
	if strings.HasSuffix(closed, ",)") {
		t.Fatalf("the removal from use closes nothing: %s", closed)
	}
	if f := s.form("T-F"); kindsOf(f) != "ice comparison boiling" || len(f.Notes) != 1 || !strings.Contains(f.Notes[0], "32 F (ice)") {
		t.Errorf("the form asks for %s, and says %q", kindsOf(f), f.Notes)
	}
	good := 0.0
	s.record(inThree(march(10, 0, 0), nil, &good, nil))
	want := []string{"32 F (ice)", s.form("T-F").Points[2].String()}
	if diff := cmp.Diff(want, s.openPoints("T-F")); diff != "" {
		t.Errorf("still to pass: %s", diff)
	}
	_, err := s.AskToReturn(s.ctx, s.as(disposition.CalibrationTechnician), "T-F", "it passes at its limit")
	if !isFault(err, fault.Refused, "not-passed") || !strings.Contains(err.Error(), want[0]) || !strings.Contains(err.Error(), want[1]) {
		t.Errorf("returned on its limit alone: %v", err)
	}
	s.record(inThree(march(10, 1, 0), &good, nil, nil), inThree(march(10, 2, 0), nil, nil, &good))
	if diff := cmp.Diff(want, s.openPoints("T-F")); diff != "" {
		t.Errorf("no one check reached around what failed: %s", diff)
	}
	s.record(inThree(march(11, 0, 0), &good, &good, &good))
	if got := s.openPoints("T-F"); len(got) != 0 {
		t.Errorf("it passed at all: %v", got)
	}
	s.returns("T-F")
	if s.now(d).RetraceDue != nil {
		s.trace(d)
	}
	if got := s.window(d); got != closed {
		t.Errorf("the window was %s and is %s", closed, got)
	}
	if f := s.form("T-F"); kindsOf(f) != "comparison" || len(f.Notes) != 0 {
		t.Errorf("after the return the form asks for %s, and says %q", kindsOf(f), f.Notes)
	}
	s.restoresWith(d)
}

// restoresWith restores the line with the probe that came back, and looks at its label.
func (s *site) restoresWith(d Deviation) {
	s.Helper()
	l, err := s.Label(s.ctx, s.sc, "T-F")
	s.must(err)
	if l.WhyNot != "" {
		s.Errorf("the label says %q", l.WhyNot)
	}
	read := march(12, 0, 0)
	r := cooked("T-F", read, 170, "")
	r.Unit = unit.FahrenheitScale
	s.reads(r)
	for _, e := range []Event{"stop", "restore"} {
		n := lineEventOf(e, read)
		n.Instrument = "T-F"
		if e == "stop" {
			n.Instrument = ""
		}
		_, err := s.RecordLine(s.ctx, s.as(disposition.LineSupervisor), d.ID, n)
		s.must(err)
	}
}

// A failure that comes after the return was put up for signing stands in its way.
func TestReturnIsLookedAtAgainWhenItIsSigned(t *testing.T) {
	t.Parallel()
	s, d := failedInThree(t)
	good, high := 0.0, 5.0
	s.record(inThree(march(11, 0, 0), &good, &good, &good))
	r, err := s.AskToReturn(s.ctx, s.as(disposition.CalibrationTechnician), "T-F", "it was mended")
	s.must(err)
	s.must(s.signs(disposition.CalibrationTechnician, r))
	s.record(inThree(march(10, 0, 0), nil, nil, &high), inThree(march(12, 0, 0), nil, &high, nil))
	if err := s.signs(disposition.QALead, r); err == nil {
		t.Error("returned on a check that another followed")
	}
	if n := len(slices.DeleteFunc(s.records(d), func(r signoff.Record) bool { return r.Kind != signoff.Return || !r.Complete() })); n != 0 {
		t.Errorf("%d returns are signed", n)
	}
}

// anyHistory is the checks of a probe, each at some of three points, and what else
// happened to it.
func anyHistory(rt *rapid.T, in instrument.Stored, p sitePolicy) (h instrument.History) {
	for n := range rapid.IntRange(2, 6).Draw(rt, "entries") {
		at := int64(n+1) * time.Hour.Microseconds()
		if rapid.IntRange(0, 5).Draw(rt, "event") == 0 {
			kind := rapid.SampledFrom([]metrology.EventKind{metrology.RemovedFromUse, metrology.ReturnedToUse, metrology.Intermittent, metrology.Repaired}).Draw(rt, "kind")
			h.Events = append(h.Events, instrument.RecordedEvent{Event: metrology.Event{At: at, Kind: kind}})
			continue
		}
		c := instrument.Recorded{ID: int64(n), Check: metrology.Check{At: at, Unusable: rapid.IntRange(0, 9).Draw(rt, "lost") == 0}}
		for _, t := range []unit.Micro{0, 20, 71, 99} {
			if c.Unusable || t != 71 && rapid.Bool().Draw(rt, "left out") {
				continue
			}
			found := (t + rapid.SampledFrom([]unit.Micro{0, 0, 3}).Draw(rt, "error")) * unit.PerDegree
			q := metrology.Point{Kind: "comparison", Found: &found, Reference: metrology.Reference{True: t * unit.PerDegree, Scale: unit.CelsiusScale, U: 0.05}}
			if t == 0 {
				q.Kind = "ice"
			}
			c.Points = append(c.Points, q)
		}
		j := c.Judge(in.ToleranceDiff(), p.DecisionRule)
		c.Found, c.Left = j.Found, j.Left
		h.Checks = append(h.Checks, c)
	}
	return h
}

// Whatever happened: a check that passes where the form asks for it ends every window,
// one that leaves out any point of those does not, and where it asks for nothing more
// nothing is open.
func TestFormAsksForWhatEndsTheWindowAndNoMore(t *testing.T) {
	t.Parallel()
	p := sitePolicy{Policy: &document.Policy{DecisionRule: metrology.DefaultRule(), Beyond: metrology.DefaultBeyond}}
	in := instrument.Stored{Code: "T-1", Unit: "C", Tolerance: unit.PerDegree}
	rapid.Check(t, func(rt *rapid.T) {
		h := anyHistory(rt, in, p)
		f := CheckForm{MadeAt: time.UnixMicro(time.Hour.Microseconds() * 10),
			Instrument: instrument.Registered{Instrument: instrument.Instrument{Code: "T-1", Unit: unit.CelsiusScale, Tolerance: unit.PerDegree}},
			Limits:     []FormLimit{{Name: "cook", Temperatures: []unit.Celsius{71}}}}
		f.ask(p)
		if err := f.settle(in, h, p); err != nil {
			rt.Fatal(err)
		}
		now := f.MadeAt.UnixMicro()
		open, err := unsettled(in, h, now, p)
		if err != nil {
			rt.Fatal(err)
		}
		if (len(open) > 0) != (len(f.needed) > 0) {
			rt.Fatalf("%d windows would be open, and the form needs %v", len(open), f.needed)
		}
		ends := func(points []FormPoint) bool {
			ok, err := endsAll(in, asPassed(h, now, points), open, p)
			if err != nil {
				rt.Fatal(err)
			}
			return ok
		}
		if !ends(f.needed) || !ends(f.Points) {
			rt.Fatalf("a check at %v leaves a window open", f.needed)
		}
		for _, pt := range f.needed {
			if ends(slices.DeleteFunc(slices.Clone(f.needed), pt.is)) {
				rt.Fatalf("%v ends the window without %v", f.needed, pt)
			}
		}
	})
}
