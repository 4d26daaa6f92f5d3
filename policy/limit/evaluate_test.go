package limit

import (
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"lastgood/policy/series"
	"lastgood/policy/unit"
)

const (
	f = unit.FahrenheitScale
	c = unit.CelsiusScale
)

// TestWorkedNumbers are those of design notes on the procedure, §2, one reading each.
func TestWorkedNumbers(t *testing.T) {
	t.Parallel()
	cook := newLimit(t, "at_least", values{"temperature": "160.0 F"})
	chill := newLimit(t, "at_most", values{"temperature": "41.0 F"})
	high := bracketOf(0.2, 2.4, 0.5, f) // design notes on the procedure, §2: e0 +0.2, e1 +2.4, u 0.5 °F
	low := bracketOf(0, -1.5, 0.5, f)   // design notes on the procedure, §2: e0 0.0, e1 −1.5, u 0.5 °F
	for _, x := range []struct {
		limit    Limit
		errs     Errors
		reading  float64
		verdict  Verdict
		recorded bool    // missed as recorded
		worst    float64 // °F
	}{ // design notes on the procedure, §2, the tables of worked numbers: lower bounds (cook), upper bounds (chill)
		{cook, high, 163.1, Met, false, 160.2},
		{cook, high, 161.8, Indeterminate, false, 158.9},
		{cook, high, 160.1, Indeterminate, false, 157.2},
		{cook, high, 159.5, Missed, true, 156.6},
		{chill, low, 40.1, Indeterminate, false, 42.1},
		{chill, low, 38.6, Met, false, 40.6},
	} {
		r := evaluate(t, x.limit, record(x.limit, time.Minute, f, x.reading), x.errs)
		if r.Verdict != x.verdict || r.MissedAsRecorded != x.recorded {
			t.Errorf("%v against %s: %s, missed as recorded %v; want %s, %v", x.reading, x.limit.Text, r.Verdict, r.MissedAsRecorded, x.verdict, x.recorded)
		}
		if want := (x.worst - 32) * 5 / 9; math.Abs(*r.Measure.Worst-want) > 1e-6 {
			t.Errorf("%v: worst %v °C, want %v", x.reading, *r.Measure.Worst, want)
		}
	}
}

// TestBracketVerdicts are drift_interval.csv DI0089 to DI0095, minimum limit
// 72.0 °C, e0 0.1, e1 1.6, bracket [−0.40, 2.10].
func TestBracketVerdicts(t *testing.T) {
	t.Parallel()
	l := newLimit(t, "at_least", values{"temperature": "72.0 C"})
	for reading, want := range map[float64]Verdict{
		71.5: Missed,        // DI0089, missed for certain
		72.0: Indeterminate, // DI0090, undetermined
		72.5: Indeterminate, // DI0091, undetermined
		74.0: Indeterminate, // DI0093, undetermined
		74.2: Met,           // DI0094, met for certain
		74.5: Met,           // DI0095, met for certain
	} {
		if r := evaluate(t, l, record(l, time.Minute, c, reading), bracketOf(0.1, 1.6, 0.5, c)); r.Verdict != want {
			t.Errorf("%v: %s, want %s", reading, r.Verdict, want)
		}
	}
}

// TestInclusiveAtItsValue: X42 of design notes on the procedure, §12, a reading exactly at the
// limit, and the two conversions that plants get wrong.
func TestInclusiveAtItsValue(t *testing.T) {
	t.Parallel()
	for _, x := range []struct {
		kind, limit string
		reading     float64
		scale       unit.Scale
		want        Verdict
	}{
		{"at_least", "161 F", 161.0, f, Met},
		{"at_least", "161 F", 160.999999, f, Missed},
		{"at_least", "160 F", 71.1, c, Missed}, // 71.1 °C is 159.98 °F
		{"at_least", "160 F", 71.111112, c, Met},
		{"at_least", "71.1 C", 71.1, c, Met},
		{"at_most", "41 F", 41, f, Met},
		{"at_most", "41 F", 5, c, Met}, // 5 °C is 41 °F exactly
		{"at_most", "41 F", 5.000001, c, Missed},
		{"at_most", "5 C", 41.01, f, Missed},
		{"at_least", "165 F", 347.038888, unit.KelvinScale, Missed}, // 165 °F is 347.03888… K
		{"at_least", "165 F", 347.038889, unit.KelvinScale, Met},
	} {
		l := newLimit(t, x.kind, values{"temperature": x.limit})
		r := evaluate(t, l, record(l, time.Minute, x.scale, x.reading), clean)
		if r.Verdict != x.want {
			t.Errorf("%v %s against %s: %s, want %s", x.reading, x.scale, l.Text, r.Verdict, x.want)
		}
		if at := slices.ContainsFunc(r.Reasons, func(s string) bool { return strings.Contains(s, "exactly at the limit") }); at != (*r.Measure.Recorded == *r.Measure.Required) {
			t.Errorf("%v %s: said to be at the limit: %v", x.reading, x.scale, at)
		}
	}
}

// TestCorrectedIsRoundedTowardsHarm: an error in K has no end of decimals in °F.
func TestCorrectedIsRoundedTowardsHarm(t *testing.T) {
	t.Parallel()
	cook, chill := newLimit(t, "at_least", values{"temperature": "160 F"}), newLimit(t, "at_most", values{"temperature": "41 F"})
	third := unit.CelsiusDiff(1. / 3) // 0.6 °F exactly: no rounding
	odd := unit.CelsiusDiff(1. / 7)   // 0.257142857… °F
	for _, x := range []struct {
		limit Limit
		e     unit.CelsiusDiff
		at    float64
		want  Verdict
	}{
		{cook, third, 160.6, Met},
		{cook, odd, 160.257142, Missed},
		{cook, odd, 160.257143, Met},
		{chill, -third, 40.4, Met},
		{chill, -odd, 40.742857, Met},
		{chill, -odd, 40.742858, Missed},
	} {
		r := evaluate(t, x.limit, record(x.limit, time.Minute, f, x.at), bracketOf(float64(x.e), float64(x.e), 0, c))
		if r.Verdict != x.want {
			t.Errorf("%v less %v K against %s: %s, want %s", x.at, x.e, x.limit.Text, r.Verdict, x.want)
		}
	}
}

// TestSafeDirection: X14 of design notes on the procedure, §12. A cook thermometer that read low
// had hotter product; the verdict says met and the reason says quality.
func TestSafeDirection(t *testing.T) {
	t.Parallel()
	cook := newLimit(t, "at_least", values{"temperature": "165 F"})
	r := evaluate(t, cook, record(cook, time.Minute, f, 166, 167), bracketOf(0, -3, 0.4, f))
	if r.Verdict != Met || !mentions(r, "read low", "hotter", "quality") {
		t.Errorf("%s, %q", r.Verdict, r.Reasons)
	}
	if r.Quality != "the product was up to 1.67 K hotter than recorded" { // 3 °F
		t.Errorf("%q", r.Quality)
	}
	if h := *r.WorstError; math.Abs(float64(h)-0.4*5/9) > 1e-12 {
		t.Errorf("worst error %v K, want the 0.4 °F of uncertainty", h)
	}
}

// TestOverprocessed: X14 of design notes on the procedure, §12, for a lethality: an
// error of E multiplies it by 10^(−E/z) (design notes on errors, §5).
func TestOverprocessed(t *testing.T) {
	t.Parallel()
	l := newLimit(t, "lethality", values{"reference": "121.1 C", "z": "10 K", "max_gap": "1m"})
	r := evaluate(t, l, record(l, time.Minute, c, 121.1, 121.1, 121.1, 121.1, 121.1), bracketOf(0, -5, 0.4, c))
	const want = "the product was up to 5 K hotter than recorded; lethality 4 min as recorded, 12.6 corrected: 3.16 times as much"
	if r.Verdict != Met || r.Quality != want {
		t.Errorf("%s, %q", r.Verdict, r.Quality)
	}
	for name, errs := range map[string]Errors{"harmful": bracketOf(0, 5, 0.4, c), "not in doubt": clean} {
		if r := evaluate(t, l, record(l, time.Minute, c, 121.1, 121.1), errs); r.Quality != "" {
			t.Errorf("%s: %q", name, r.Quality)
		}
	}
}

// TestCookThenChill: X15 of design notes on the procedure, §12. The same probe read high: unsafe
// at the cook step, safe at the chill step. Each limit is judged for itself.
func TestCookThenChill(t *testing.T) {
	t.Parallel()
	cook, chill := newLimit(t, "at_least", values{"temperature": "165 F"}), newLimit(t, "at_most", values{"temperature": "41 F"})
	high := bracketOf(0, 4, 0.5, f)
	if r := evaluate(t, cook, record(cook, time.Minute, f, 166), high); r.Verdict != Indeterminate || mentions(r, "quality") || r.Quality != "" {
		t.Errorf("cook: %s, %q", r.Verdict, r.Reasons)
	}
	if r := evaluate(t, chill, record(chill, time.Minute, f, 40), high); r.Verdict != Met || !mentions(r, "read high", "colder", "quality") || r.Quality != "the product was up to 2.22 K colder than recorded" {
		t.Errorf("chill: %s, %q, %q", r.Verdict, r.Reasons, r.Quality)
	}
}

// TestMissedAsRecordedIsNeverMet: read low by 3 °F for certain, the product was
// hot enough, and yet the lot missed on its own day.
func TestMissedAsRecordedIsNeverMet(t *testing.T) {
	t.Parallel()
	cook := newLimit(t, "at_least", values{"temperature": "165 F"})
	r := evaluate(t, cook, record(cook, time.Minute, f, 164), bracketOf(-3, -3, 0.2, f))
	if r.Verdict != Indeterminate || !r.MissedAsRecorded || *r.Headroom >= 0 || !mentions(r, "missed as recorded", "deviation of its own") {
		t.Errorf("%s, headroom %v, %q", r.Verdict, *r.Headroom, r.Reasons)
	}
}

// TestUnknownTemperatures: beyond the checked range nothing is known; a reading
// that fails for certain still decides.
func TestUnknownTemperatures(t *testing.T) {
	t.Parallel()
	cook := newLimit(t, "at_least", values{"temperature": "74 C"})
	errs := checked{bracketOf(0, 1, 0.2, c), -100, 80}
	for _, x := range []struct {
		name    string
		at      []float64
		want    Verdict
		worst   bool // the worst error is given
		reasons []string
	}{
		{"one unknown", []float64{76, 85}, Unknown, false, []string{"does not decide", "beyond the checked range"}},
		{"all unknown", []float64{85, 90}, Unknown, false, []string{"2 readings of unknown error"}},
		{"another fails", []float64{70, 85}, Missed, true, nil},
		{"none unknown", []float64{76, 79}, Met, true, nil},
	} {
		r := evaluate(t, cook, record(cook, time.Minute, c, x.at...), errs)
		if r.Verdict != x.want || (r.WorstError != nil) != x.worst || (r.ProbabilityMissed != nil) != x.worst || !mentions(r, x.reasons...) {
			t.Errorf("%s: %s, worst error %s, probability %s, %q", x.name, r.Verdict, show(r.WorstError), show(r.ProbabilityMissed), r.Reasons)
		}
	}
}

// TestHeatBelowTheCheckedRangeEarnsNothing: the come-up of a retort lies beyond
// the points of its thermometer, the hold does not.
func TestHeatBelowTheCheckedRangeEarnsNothing(t *testing.T) {
	t.Parallel()
	l := newLimit(t, "lethality", values{"reference": "121.1 C", "z": "10 K", "max_gap": "1m", "from": "100 C"})
	errs := checked{bracketOf(0, 0.5, 0.2, c), 111, 200}
	long := evaluate(t, l, record(l, time.Minute, c, 40, 90, 105, 122, 122, 122, 122, 122, 90), errs)
	if long.Verdict != Met || *long.Measure.Corrected >= *long.Measure.Recorded {
		t.Errorf("long hold: %s, corrected %v of %v", long.Verdict, *long.Measure.Corrected, *long.Measure.Recorded)
	}
	short := evaluate(t, l, record(l, time.Minute, c, 40, 90, 105, 122, 122, 90), errs)
	if short.Verdict != Unknown {
		t.Errorf("short hold: %s, want unknown: the come-up may have earned the rest", short.Verdict)
	}
}

func TestNotJudgeable(t *testing.T) {
	t.Parallel()
	l := newLimit(t, "at_least", values{"temperature": "165 F"})
	back := record(l, -time.Minute, f, 170, 170)
	for name, s := range map[string]series.Series{
		"another scale": {Scale: c}, "time goes back": back, "ends before it starts": {Scale: f, Start: 2, End: 1},
	} {
		if r, err := l.Evaluate(s, clean, always); err == nil {
			t.Errorf("%s: judged %s", name, r.Verdict)
		}
	}
}

func TestNoReading(t *testing.T) {
	t.Parallel()
	for kind, v := range map[string]values{
		"at_least": {"temperature": "165 F"}, "at_most": {"temperature": "5 C"},
		"hold":      {"at_least": "72 C", "for": "15s", "max_gap": "2s"},
		"lethality": {"reference": "121.1 C", "z": "10 K", "max_gap": "1m"},
	} {
		l := newLimit(t, kind, v)
		r := evaluate(t, l, series.Series{Scale: l.Criterion.Scale()}, clean)
		if r.Verdict != Unknown || r.Headroom != nil || r.WorstError != nil || r.ProbabilityMissed != nil || r.Measure.Recorded != nil || r.Method != "limit/"+kind+"@1" {
			t.Errorf("%s: %+v", kind, r)
		}
	}
}

// TestNumbersOfAResult: degrees Celsius and kelvin whatever the limit is
// written in.
func TestNumbersOfAResult(t *testing.T) {
	t.Parallel()
	l := newLimit(t, "at_least", values{"temperature": "165 F"})
	r := evaluate(t, l, record(l, time.Minute, f, 169.5, 172), bracketOf(0.9, 1.8, 0.9, f))
	for name, x := range map[string]struct{ got, want float64 }{
		"required":    {*r.Measure.Required, (165. - 32) * 5 / 9},
		"recorded":    {*r.Measure.Recorded, (169.5 - 32) * 5 / 9},
		"corrected":   {*r.Measure.Corrected, (167.7 - 32) * 5 / 9},
		"worst":       {*r.Measure.Worst, (166.8 - 32) * 5 / 9},
		"headroom":    {float64(*r.Headroom), 2.5},
		"worst error": {float64(*r.WorstError), 1.5},
	} {
		if math.Abs(x.got-x.want) > 1e-6 {
			t.Errorf("%s = %v, want %v", name, x.got, x.want)
		}
	}
	if r.Readings != 2 || r.Measure.Unit != "C" || r.Measure.Name != "lowest temperature" || r.Verdict != Met {
		t.Errorf("%+v", r)
	}
}

func mentions(r Result, words ...string) bool {
	all := strings.Join(r.Reasons, "\n")
	for _, w := range words {
		if !strings.Contains(all, w) {
			return false
		}
	}
	return true
}
