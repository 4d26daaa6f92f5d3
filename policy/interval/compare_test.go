package interval_test

import (
	"math"
	"strings"
	"testing"

	"lastgood/policy/interval"
	"lastgood/policy/metrology"
	"lastgood/policy/unit"
	"pgregory.net/rapid"
)

const dayMicros = 86_400_000_000

// start of the histories here: some time in 2026.
const start = 1_772_000_000_000_000

// weekly is a history of n checks every 7 days after going into service; those
// named fail and are put right.
func weekly(n int, fails ...int) interval.History {
	h := interval.History{InServiceFrom: start, Tolerance: 1, Resolution: 0.1}
	for i := 1; i <= n; i++ {
		at := start + int64(i)*7*dayMicros
		h.Checks = append(h.Checks, interval.Check{At: at, Due: at, Found: metrology.Pass, Left: metrology.Pass})
	}
	for _, i := range fails {
		h.Checks[i-1].Found = metrology.Fail
	}
	return h
}

var use = interval.Use{ReadingsPerDay: 48, LotsPerDay: 6, KgPerDay: 3000}

func compare(t *testing.T, h interval.History, present float64, aim interval.Aim) interval.Report {
	t.Helper()
	r, err := interval.Compare(h, use, present, interval.Candidates(3), aim)
	if err != nil {
		t.Fatal(err)
	}
	return r
}

func at(t *testing.T, r interval.Report, days float64) interval.Candidate {
	t.Helper()
	for _, c := range r.Candidates {
		if c.Days == days {
			return c
		}
	}
	t.Fatalf("no candidate of %g days", days)
	return interval.Candidate{}
}

func same(got, want float64) bool { return math.Abs(got-want) <= 1e-9*max(1, math.Abs(want)) }

// TestWorkedByHand: twenty weeks without a failure.
func TestWorkedByHand(t *testing.T) {
	t.Parallel()
	h := weekly(20)
	h.Checks[3].At += dayMicros / 2 // half a day late, once
	r := compare(t, h, 7, interval.Aim{})
	c := at(t, r, 7)
	// 7 days at 48 readings, 6 lots and 3000 kg a day; half a day more at worst.
	if c.InDoubt != (interval.Exposure{Readings: 336, Lots: 42, Kg: 21000}) || c.Worst != (interval.Exposure{Readings: 360, Lots: 45, Kg: 22500}) {
		t.Errorf("in doubt %+v, at worst %+v", c.InDoubt, c.Worst)
	}
	if c.Affected != (interval.Exposure{Readings: 168, Lots: 21, Kg: 10500}) { // half of it
		t.Errorf("affected %+v", c.Affected)
	}
	// No failure in 140 days at 90 %: R(7) ≥ 0.1^(7/140) = 0.891251.
	if !same(c.ReliabilityLow, math.Pow(0.1, 7.0/140)) || *c.Reliability != 1 || *c.FailuresPerYear != 0 {
		t.Errorf("reliability %g and up, likeliest %g", c.ReliabilityLow, *c.Reliability)
	}
	if !same(c.ChecksPerYear, 365.0/7) || !same(c.FailuresHigh, 365.0/7*(1-math.Pow(0.1, 7.0/140))) {
		t.Errorf("%g checks and up to %g failures a year", c.ChecksPerYear, c.FailuresHigh)
	}
	// 0.1^(3/140) = 0.9519 and 0.1^(7/140) = 0.8913: three days are proven, seven are not.
	if s := r.Suggestion; s.Advice != interval.Shorten || *s.Days != 3 || !strings.Contains(s.Reason, "20 of 20") || !strings.Contains(s.Reason, "at 7 days the history only shows a reliability of 0.891") {
		t.Errorf("%+v", s)
	}
	if r.Test == nil || r.Test.Advice != interval.Keep || r.Test.Of != 20 || r.Observed.Overrun != 0.5 {
		t.Errorf("test %+v, observed %+v", r.Test, r.Observed)
	}
}

func TestFailuresInAYear(t *testing.T) {
	t.Parallel()
	r := compare(t, weekly(50, 10, 30), 7, interval.Aim{})
	c := at(t, r, 7)
	// 48 of 50 within: R = 0.96, and two of fifty checks fail.
	if !same(*c.Reliability, 0.96) || !same(*c.FailuresPerYear, 365.0/7*0.04) || !same(c.InDoubtPerYear.Lots, 42*365.0/7*0.04) {
		t.Errorf("reliability %g, %g failures a year, %+v in doubt", *c.Reliability, *c.FailuresPerYear, c.InDoubtPerYear)
	}
	if c.ReliabilityLow >= *c.Reliability || c.FailuresHigh <= *c.FailuresPerYear {
		t.Errorf("bounds %g and %g do not bound", c.ReliabilityLow, c.FailuresHigh)
	}
	if c.Affected.Lots <= 21 {
		t.Errorf("affected %g lots: a failure is likelier early than late", c.Affected.Lots)
	}
}

func TestSuggestions(t *testing.T) {
	t.Parallel()
	lots := func(n float64) interval.Aim { return interval.Aim{MostLots: &n} }
	for name, c := range map[string]struct {
		history interval.History
		present float64
		aim     interval.Aim
		advice  interval.Advice
		days    float64 // 0: none
		says    string
	}{
		"four checks":         {weekly(4), 7, interval.Aim{}, interval.TooFew, 0, "4 intervals between checks count, and 5 are needed"},
		"no history":          {weekly(0), 7, interval.Aim{}, interval.TooFew, 0, "0 intervals"},
		"all passed, still":   {weekly(5), 7, interval.Aim{Reliability: 0.99, Confidence: 0.99}, interval.TooFew, 0, "all of 5 intervals ended within tolerance, and yet"},
		"ninety weeks":        {weekly(90), 7, interval.Aim{}, interval.Lengthen, 14, "from 7 days to 14 days"}, // 0.1^(14/630) = 0.950
		"but for the lots":    {weekly(90), 7, lots(45), interval.Keep, 7, "at 14 days one failure may put 84 lots in doubt, and 45 may be"},
		"far fewer lots":      {weekly(90), 7, lots(12), interval.Shorten, 2, "at 3 days one failure may put 18 lots"},
		"hardly any":          {weekly(90), 7, lots(1), interval.None, 0, "look at the instrument and its use"},
		"few, but the lots":   {weekly(2), 7, lots(12), interval.TooFew, 0, "by what one failure may put in doubt alone, 2 days is the longest"},
		"half of them failed": {weekly(10, 1, 3, 5, 7, 9), 7, interval.Aim{}, interval.None, 0, "at 0.333 day the history only shows"},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			s := compare(t, c.history, c.present, c.aim).Suggestion
			got := 0.0
			if s.Days != nil {
				got = *s.Days
			}
			if s.Advice != c.advice || got != c.days || !strings.Contains(s.Reason, c.says) {
				t.Errorf("%s, %g days: %s", s.Advice, got, s.Reason)
			}
		})
	}
}

// TestKilograms: the other bound on what one failure may put in doubt.
func TestKilograms(t *testing.T) {
	t.Parallel()
	s := compare(t, weekly(90), 7, interval.Aim{MostKg: new(6000.0)}).Suggestion
	if s.Advice != interval.Shorten || *s.Days != 2 || *s.ByExposure != 2 || !strings.Contains(s.Reason, "9000 kg") {
		t.Errorf("%+v", s)
	}
}

// TestWhatCountsAsAnInterval: what began with an instrument that was not fit for
// use says nothing, and a pass too near the tolerance for the display is none.
func TestWhatCountsAsAnInterval(t *testing.T) {
	t.Parallel()
	h := weekly(6)
	h.InServiceFrom = 0                                   // the first check ends no interval
	h.Checks[2].Found = metrology.Fail                    // the second interval ends outside
	h.Checks[2].Left = metrology.Fail                     // and the third began so
	h.Checks[4].FoundError = new(unit.CelsiusDiff(-0.96)) // a display of 0.1 K cannot tell it from 1.01
	r := compare(t, h, 7, interval.Aim{})
	want := interval.Observed{Spans: 4, Within: 2, AtLimit: 1, Days: 28}
	if r.Observed != want {
		t.Errorf("%+v, want %+v", r.Observed, want)
	}
	h.Checks[4].FoundError = new(unit.CelsiusDiff(-0.95)) // at most 1.00, which is within
	if got := compare(t, h, 7, interval.Aim{}).Observed; got.AtLimit != 0 || got.Within != 3 {
		t.Errorf("%+v", got)
	}
}

// TestDriftShortens: passes alone would lengthen, and the error is on its way out.
func TestDriftShortens(t *testing.T) {
	t.Parallel()
	h := weekly(200)
	for i := range h.Checks {
		// 0.1 K a week, exactly, put back to 0 at every check.
		h.Checks[i].FoundError, h.Checks[i].LeftError = new(unit.CelsiusDiff(0.1)), new(unit.CelsiusDiff(0))
	}
	r := compare(t, h, 7, interval.Aim{})
	if r.Drift == nil || !same(r.Drift.Rate, 0.1/7) || r.Drift.Start != 0 || r.Drift.RateU > 1e-9 {
		t.Fatalf("drift %+v", r.Drift)
	}
	// By failures 30 days and more would do (0.1^(30/1400) = 0.952); drift adds
	// 0.43 K in 30 days, so that is within; a tolerance of 0.3 K is not.
	if s := r.Suggestion; *s.Days != 30 {
		t.Errorf("%s", s.Reason)
	}
	h.Tolerance = 0.3
	if s := compare(t, h, 7, interval.Aim{}).Suggestion; *s.Days != 14 || !strings.Contains(s.Reason, "drift may have brought the error to") {
		t.Errorf("%s", s.Reason)
	}
}

// TestDriftByHand: d = 0.1, 0.3, 0.1, 0.3 in 10 days each. r = 0.02; the scatter
// is 0.2/√3 = 0.11547; u(r) = s/20.
func TestDriftByHand(t *testing.T) {
	t.Parallel()
	steps := []interval.Step{{Days: 10, Change: 0.1}, {Days: 10, Change: 0.3}, {Days: 10, Change: 0.1}, {Days: 10, Change: 0.3}}
	d, err := interval.FitDrift(steps, 0.5, 0)
	s := 0.2 / math.Sqrt(3)
	if err != nil || !same(d.Rate, 0.02) || !same(d.RateU, s/20) || !same(float64(d.StartU), s) || d.Start != 0.5 {
		t.Errorf("%+v, %v", d, err)
	}
	coarse, err := interval.FitDrift(steps, 0.5, 1)
	if err != nil || !same(float64(coarse.StartU), math.Hypot(s, 1/math.Sqrt(12))) {
		t.Errorf("%+v, %v", coarse, err)
	}
	if _, err := interval.FitDrift(steps[:3], 0, 0); err == nil {
		t.Error("three changes make a drift")
	}
	if _, err := interval.FitDrift(append(steps, interval.Step{}), 0, 0); err == nil {
		t.Error("a change in no time makes a drift")
	}
}

// TestLongerIntervalsExposeMore, and are never more reliable.
func TestLongerIntervalsExposeMore(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(0, 60).Draw(t, "checks")
		var fails []int
		for i := 1; i <= n; i++ {
			if rapid.IntRange(0, 9).Draw(t, "fails") == 0 {
				fails = append(fails, i)
			}
		}
		r, err := interval.Compare(weekly(n, fails...), use, 7, interval.Candidates(2), interval.Aim{})
		if err != nil {
			t.Fatal(err)
		}
		for i, c := range r.Candidates {
			if !(c.Affected.Lots <= c.InDoubt.Lots && c.InDoubt.Lots <= c.Worst.Lots && c.Affected.Lots >= c.InDoubt.Lots/2) {
				t.Fatalf("affected %g, in doubt %g, at worst %g", c.Affected.Lots, c.InDoubt.Lots, c.Worst.Lots)
			}
			if c.Reliability != nil && c.ReliabilityLow > *c.Reliability {
				t.Fatalf("reliability %g, bound %g", *c.Reliability, c.ReliabilityLow)
			}
			if i == 0 {
				continue
			}
			if b := r.Candidates[i-1]; b.InDoubt.Kg >= c.InDoubt.Kg || b.ReliabilityLow < c.ReliabilityLow || b.ChecksPerYear <= c.ChecksPerYear {
				t.Fatalf("%g days against %g", b.Days, c.Days)
			}
		}
		if r.Suggestion.Reason == "" || r.Suggestion.Advice == "" || r.Method != interval.Method {
			t.Fatalf("%+v", r.Suggestion)
		}
	})
}

func TestWhatCannotBeCompared(t *testing.T) {
	t.Parallel()
	h := weekly(6)
	backwards := weekly(6)
	backwards.Checks[3].At = start
	early := weekly(6)
	early.InServiceFrom = early.Checks[0].At + 1
	none := weekly(6)
	none.Tolerance = 0
	nan := weekly(6)
	nan.Checks[0].LeftError = new(unit.CelsiusDiff(math.NaN()))
	for name, c := range map[string]struct {
		h       interval.History
		u       interval.Use
		present float64
		aim     interval.Aim
	}{
		"backwards":             {backwards, use, 7, interval.Aim{}},
		"before service":        {early, use, 7, interval.Aim{}},
		"no tolerance":          {none, use, 7, interval.Aim{}},
		"no error":              {nan, use, 7, interval.Aim{}},
		"negative use":          {h, interval.Use{LotsPerDay: -1}, 7, interval.Aim{}},
		"no interval":           {h, use, 0, interval.Aim{}},
		"a lifetime":            {h, use, 40000, interval.Aim{}},
		"no better than a coin": {h, use, 7, interval.Aim{Confidence: 0.5}},
		"certainty":             {h, use, 7, interval.Aim{Reliability: 1}},
		"a negative quantity":   {h, use, 7, interval.Aim{MostLots: new(-1.0)}},
	} {
		if r, err := interval.Compare(c.h, c.u, c.present, nil, c.aim); err == nil {
			t.Errorf("%s: compared: %s", name, r.Suggestion.Reason)
		}
	}
	for _, f := range []func() error{
		func() error { _, err := interval.ReductionFactor(0, 0.9); return err },
		func() error { _, err := interval.ReductionFactor(0.1, 1); return err },
		func() error { _, err := interval.AverageReliability(1); return err },
		func() error { _, err := interval.ForReliability(6, 1, 0.9); return err },
		func() error { _, err := interval.TestInterval(3, 2, 0.9, 0.8); return err },
	} {
		if f() == nil {
			t.Error("a method of intervals computes beyond its range")
		}
	}
}

func TestCandidates(t *testing.T) {
	t.Parallel()
	if got := interval.Candidates(0); got[0] != 1 || len(got) != 9 {
		t.Errorf("%v", got)
	}
	if got := interval.Candidates(2); got[0] != 0.5 || got[1] != 1 || len(got) != 10 {
		t.Errorf("%v", got)
	}
}
