package limit

import (
	"fmt"
	"strconv"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"lastgood/policy/metrology"
	"lastgood/policy/series"
	"lastgood/policy/unit"
)

// values are parameters as a policy writes them, by form.
type values map[string]string

var forms = map[string]Form{
	"temperature": Temperature, "at_least": Temperature, "at_most": Temperature, "reference": Temperature, "from": Temperature, "allow.above": Temperature,
	"z": Difference, "max_gap": Duration, "for": Duration, "allow.total": Duration, "d": Duration, "logs": Number, "minutes": Number,
	"table": Rows, "stages": Rows, "bands": Rows,
}

func parsed(v values, minutes float64) (Values, error) {
	out := Values{map[string]unit.Temperature{}, map[string]unit.Diff{}, map[string]time.Duration{}, map[string]float64{}, map[string][]Row{}, map[string]string{}}
	if minutes != 0 {
		out.Number["minutes"] = minutes
	}
	var err error
	for name, s := range v {
		switch forms[name] {
		case Temperature:
			out.Temperature[name], err = unit.ParseTemperature(s)
		case Difference:
			out.Difference[name], err = unit.ParseDiff(s)
		case Duration:
			out.Duration[name], err = time.ParseDuration(s)
		case Number:
			out.Number[name], err = strconv.ParseFloat(s, 64)
		case Rows:
			out.Rows[name], err = rowsOf(s)
		}
		if err != nil {
			return out, err
		}
	}
	return out, nil
}

// rowsOf reads "57 C, 21 C, 2h; 57 C, 5 C, 6h".
func rowsOf(s string) ([]Row, error) {
	var out []Row
	for _, line := range strings.Split(s, ";") {
		cells := strings.Split(line, ",")
		var r Row
		for _, cell := range cells[:len(cells)-1] {
			t, err := unit.ParseTemperature(strings.TrimSpace(cell))
			if err != nil {
				return nil, err
			}
			r.Temperatures = append(r.Temperatures, t)
		}
		var err error
		if r.Time, err = time.ParseDuration(strings.TrimSpace(cells[len(cells)-1])); err != nil {
			return nil, err
		}
		out = append(out, r)
	}
	return out, nil
}

func made(kind string, v values, minutes float64) (Limit, error) {
	k, err := Lookup(kind)
	if err != nil {
		return Limit{}, err
	}
	p, err := parsed(v, minutes)
	if err != nil {
		return Limit{}, err
	}
	return k.New("the-limit", p)
}

func newLimit(t testing.TB, kind string, v values) Limit {
	t.Helper()
	minutes := 0.0
	if _, said := v["minutes"]; kind == "lethality" && !said {
		minutes = 3
	}
	l, err := made(kind, v, minutes)
	if err != nil {
		t.Fatal(err)
	}
	return l
}

// start is when the test records begin.
var start = time.Date(2026, 3, 2, 6, 0, 0, 0, time.UTC).UnixMicro()

const minute = 60_000_000 // [µs]

// record is readings one step apart, on the scale they are written in.
func record(l Limit, step time.Duration, from unit.Scale, degrees ...float64) series.Series {
	s := series.Series{Scale: l.Criterion.Scale()}
	for i, d := range degrees {
		s.Samples = append(s.Samples, l.Sample(start+int64(i)*step.Microseconds(), d, from))
	}
	return s
}

// clean is an instrument that is not in doubt.
var clean = metrology.Constant(0, 0, 0, 0, 0, start-2, start-1, start-1)

// always is a window that all test records lie in.
var always = Onset{After: start - minute, FailedAt: start + 1000*minute}

// bracketOf is the bracket from old to found, each with the expanded
// uncertainty U (k = 2), all in degrees of scale.
func bracketOf(old, found, expanded float64, scale unit.Scale) *metrology.Doubt {
	k := func(d float64) unit.CelsiusDiff { return unit.DiffToKelvin(d, scale) }
	return metrology.Constant(k(min(old, found)-expanded), k(max(old, found)+expanded), k(old), k(found), k(expanded/2),
		always.After, always.FailedAt, always.FailedAt)
}

func evaluate(t testing.TB, l Limit, s series.Series, errs Errors) Result {
	t.Helper()
	r, err := l.Evaluate(s, errs, always)
	if err != nil {
		t.Fatal(err)
	}
	return r
}

// checked is an instrument of whose error nothing is known outside a range of
// temperatures.
type checked struct {
	base   Errors
	lo, hi unit.Celsius
}

func (u checked) At(at int64, x unit.Celsius) (metrology.Bounds, metrology.Standing) {
	if x < u.lo || x > u.hi {
		return metrology.Bounds{}, metrology.Unknown
	}
	return u.base.At(at, x)
}

func (u checked) Reason(_ int64, x unit.Celsius) string {
	return fmt.Sprintf("%v C is beyond the checked range", float64(x))
}

// show prints a number that may not be there.
func show[T ~float64](v *T) string {
	if v == nil {
		return "none"
	}
	return fmt.Sprint(float64(*v))
}

// same compares two numbers that may not be there.
func same[T ~float64](a, b *T) bool {
	return a == nil && b == nil || a != nil && b != nil && *a == *b
}

// drawn is a limit to draw, in C, with the temperatures its records should lie
// around.
type drawn struct {
	kind   string
	v      values
	around float64
}

// drawnLimit is a limit of any kind.
func drawnLimit(t *rapid.T) (Limit, float64) {
	return oneOf(t, append(monotone, drawnCooling...))
}

// drawnMonotone is a limit of any kind that colder, or hotter, product always
// keeps better. A cooling clock is none: hotter product may start it later.
func drawnMonotone(t *rapid.T) (Limit, float64) { return oneOf(t, monotone) }

var drawnCooling = []drawn{
	{"cooling", values{"stages": "6 C, 4 C, 4m", "max_gap": "3m"}, 5},
	{"cooling", values{"stages": "6 C, 5 C, 2m; 6 C, 3.5 C, 6m", "max_gap": "2m"}, 5},
	{"cooling", values{"stages": "5.5 C, 4.5 C, 90s; 5 C, 3 C, 5m", "max_gap": "10m"}, 5},
}

var monotone = []drawn{

	{"at_least", values{"temperature": "74 C"}, 74},
	{"at_least", values{"temperature": "74 C", "max_gap": "3m"}, 74},
	{"at_most", values{"temperature": "5 C", "max_gap": "3m"}, 5},
	{"at_most", values{"temperature": "5 C", "max_gap": "3m", "allow.above": "5 C", "allow.total": "4m"}, 5},
	{"hold", values{"at_least": "72 C", "for": "3m", "max_gap": "2m"}, 72},
	{"hold", values{"at_most": "-20 C", "for": "5m", "max_gap": "3m"}, -20},
	{"lethality", values{"reference": "121.1 C", "z": "10 K", "max_gap": "3m"}, 118},
	{"lethality", values{"reference": "121.1 C", "z": "10 K", "max_gap": "3m", "from": "118 C"}, 119},
	{"dwell_table", values{"table": "71 C, 5m; 72 C, 3m; 73.5 C, 1m; 74.5 C, 0s; 74.8 C, 0s", "max_gap": "2m"}, 72},
	{"dwell_table", values{"table": "72 C, 2m", "max_gap": "2m"}, 72},
	{"log_reduction", values{"reference": "70 C", "z": "6.5 K", "d": "20s", "logs": "6", "max_gap": "3m"}, 69},
	{"log_reduction", values{"reference": "70 C", "z": "6.5 K", "d": "20s", "logs": "6", "max_gap": "3m", "from": "68 C"}, 69},
	{"exposure", values{"bands": "4 C, 5 C, 6m; 5 C, 6 C, 4m; 7 C, 20 C, 1m", "max_gap": "3m"}, 5},
	{"exposure", values{"bands": "5 C, 100 C, 4m", "max_gap": "3m"}, 5},
}

func oneOf(t *rapid.T, list []drawn) (Limit, float64) {
	k := rapid.SampledFrom(list).Draw(t, "limit")
	l, err := made(k.kind, k.v, 3)
	if k.kind != "lethality" {
		l, err = made(k.kind, k.v, 0)
	}
	if err != nil {
		t.Fatal(err)
	}
	return l, k.around
}

// drawnSeries is a record around a temperature, coarse enough for ties and with
// holes if wanted.
func drawnSeries(t *rapid.T, l Limit, around float64, holes bool) series.Series {
	n := rapid.IntRange(1, 14).Draw(t, "n")
	s := series.Series{Scale: l.Criterion.Scale()}
	at := start
	for range n {
		steps := []int64{minute, minute, minute / 2, 2 * minute, 0}
		if holes {
			steps = append(steps, 10*minute)
		}
		at += rapid.SampledFrom(steps).Draw(t, "step")
		r := series.Sample{At: at, T: unit.FromFloat(around, unit.Colder) + unit.Micro(rapid.Int64Range(-30, 30).Draw(t, "T"))*100_000}
		if holes && rapid.IntRange(0, 9).Draw(t, "hole") == 0 {
			r.T = unit.Unknown
		}
		s.Samples = append(s.Samples, r)
	}
	if holes && rapid.Bool().Draw(t, "bounded") {
		s.Start, s.End = start-minute/2, at+minute*rapid.Int64Range(0, 5).Draw(t, "end")
	}
	return s
}

// drawnErrors is a bracket in K with everything in tenths.
func drawnErrors(t *rapid.T) (old, found, expanded float64) {
	tenth := func(name string, lo, hi int) float64 { return float64(rapid.IntRange(lo, hi).Draw(t, name)) / 10 }
	return tenth("old", -10, 10), tenth("found", -30, 30), tenth("U", 0, 8)
}

// constant is n readings of one value.
func constant(v float64, n int) []float64 {
	out := make([]float64, n)
	for i := range out {
		out[i] = v
	}
	return out
}
