package catalogue

import (
	"encoding/csv"
	"math"
	"os"
	"strconv"
	"testing"
	"time"

	"lastgood/policy/limit"
	"lastgood/policy/metrology"
	"lastgood/policy/series"
	"lastgood/policy/unit"
)

// row is one published row, by column name. Source, edition, provenance and
// confidence are columns of the file.
type row map[string]string

// table reads a file of published rows in its order.
func table(t *testing.T, file string) []row {
	t.Helper()
	f, err := os.Open("../../testdata/published/thermal/" + file)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	lines, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	var out []row
	for _, l := range lines[1:] {
		r := row{}
		for i, v := range l {
			r[lines[0][i]] = v
		}
		out = append(out, r)
	}
	if len(out) == 0 {
		t.Fatal(file, "has no rows")
	}
	return out
}

// files are the files that the catalogue draws on.
var files = []string{
	"cook_lethality.csv", "pasteurization.csv", "cold_limits.csv", "fish_exposure_times.csv", "dz_values.csv", "equivalents.csv",
}

// published returns the rows of some files, or of all that the catalogue draws
// on, by id.
func published(t *testing.T, names ...string) map[string]row {
	t.Helper()
	if len(names) == 0 {
		names = files
	}
	out := map[string]row{}
	for _, f := range names {
		for _, r := range table(t, f) {
			out[r["id"]] = r
		}
	}
	return out
}

func number(t *testing.T, s string) float64 {
	t.Helper()
	v, err := strconv.ParseFloat(s, 64)
	if err != nil {
		t.Fatal(err)
	}
	return v
}

// lasting turns a printed number of units into a duration.
func lasting(t *testing.T, s string, of time.Duration) time.Duration {
	t.Helper()
	return time.Duration(math.Round(number(t, s) * float64(of)))
}

func temperature(t *testing.T, s string) unit.Temperature {
	t.Helper()
	x, err := unit.ParseTemperature(s)
	if err != nil {
		t.Fatal(err)
	}
	return x
}

func difference(t *testing.T, s string) unit.Diff {
	t.Helper()
	d, err := unit.ParseDiff(s)
	if err != nil {
		t.Fatal(err)
	}
	return d
}

// gap is longer than any time in the catalogue, so that two readings can stand
// for a whole record.
const gap = 2000 * time.Hour

// gapOf is the plant's own part of a limit in these tests.
func gapOf(k limit.Kind) limit.Values {
	for _, p := range k.Parameters {
		if p.Name == "max_gap" && p.Required {
			return limit.Values{Duration: map[string]time.Duration{"max_gap": gap}}
		}
	}
	return limit.Values{}
}

func find(t *testing.T, name string) Entry {
	t.Helper()
	e, err := Find(name)
	if err != nil {
		t.Fatal(err)
	}
	return e
}

// made is the limit of an entry.
func made(t *testing.T, e Entry) limit.Limit {
	t.Helper()
	own := gapOf(e.Kind)
	if len(e.Values.Duration) > 0 && own.Duration == nil { // allow counts time
		own = limit.Values{Duration: map[string]time.Duration{"max_gap": gap}}
	}
	l, err := e.Kind.New(e.Name, e.With(own))
	if err != nil {
		t.Fatal(e.Name, err)
	}
	return l
}

// built is a limit that is not in the catalogue.
func built(t *testing.T, kind string, v limit.Values) limit.Limit {
	t.Helper()
	k, err := limit.Lookup(kind)
	if err != nil {
		t.Fatal(err)
	}
	l, err := k.New("row", Entry{Values: v}.With(gapOf(k)))
	if err != nil {
		t.Fatal(err)
	}
	return l
}

// trusted is an instrument that is not in doubt.
type trusted struct{}

func (trusted) At(int64, unit.Celsius) (metrology.Bounds, metrology.Standing) {
	return metrology.Bounds{}, metrology.Trusted
}

func (trusted) Reason(int64, unit.Celsius) string { return "" }

// start is when the records of these tests begin.
var start = time.Date(2026, 3, 2, 6, 0, 0, 0, time.UTC).UnixMicro()

// point is a reading at a time after the start.
type point struct {
	after time.Duration
	at    unit.Micro
}

// judged is the verdict on a record of readings that nobody doubts.
func judged(t *testing.T, l limit.Limit, points ...point) limit.Verdict {
	t.Helper()
	s := series.Series{Scale: l.Criterion.Scale(), Start: start}
	for _, p := range points {
		s.Samples = append(s.Samples, series.Sample{At: start + p.after.Microseconds(), T: p.at})
	}
	s.End = s.Samples[len(s.Samples)-1].At
	r, err := l.Evaluate(s, trusted{}, limit.Onset{After: start - 1, FailedAt: s.End + 1})
	if err != nil {
		t.Fatal(err)
	}
	return r.Verdict
}

// held is the verdict on a temperature that stands still for a time.
func held(t *testing.T, l limit.Limit, at unit.Micro, d time.Duration) limit.Verdict {
	t.Helper()
	return judged(t, l, point{0, at}, point{d, at})
}

// want fails the test where a verdict is another.
func want(t *testing.T, what string, got, wanted limit.Verdict) {
	t.Helper()
	if got != wanted {
		t.Errorf("%s: %s, want %s", what, got, wanted)
	}
}

// temperatures are some printed in F.
func temperatures(t *testing.T, degrees ...string) []unit.Temperature {
	t.Helper()
	var out []unit.Temperature
	for _, d := range degrees {
		out = append(out, temperature(t, d+" F"))
	}
	return out
}

// seriesOf is a record of readings a minute apart.
func seriesOf(l limit.Limit, at ...unit.Micro) series.Series {
	s := series.Series{Scale: l.Criterion.Scale()}
	for i, x := range at {
		s.Samples = append(s.Samples, series.Sample{At: start + int64(i)*time.Minute.Microseconds(), T: x})
	}
	return s
}
