package limit

import (
	"errors"
	"math"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"lastgood/policy/growth"
	"lastgood/policy/metrology"
	"lastgood/policy/series"
	"lastgood/policy/unit"
)

// growthValues are the parameters of a growth limit as a policy writes them; b,
// tmin and so on without their model.
func growthValues(t testing.TB, v values) Values {
	t.Helper()
	out := Values{map[string]unit.Temperature{}, map[string]unit.Diff{}, map[string]time.Duration{}, map[string]float64{}, map[string][]Row{}, map[string]string{}}
	for name, s := range v {
		var err error
		switch name {
		case "form", "named", "rate":
			out.Word["model."+name] = s
		case "tmin", "topt", "tmax":
			out.Temperature["model."+name], err = unit.ParseTemperature(s)
		case "b", "c", "mu_opt":
			out.Number["model."+name], err = strconv.ParseFloat(s, 64)
		case "logs":
			out.Number[name], err = strconv.ParseFloat(s, 64)
		case "max_gap":
			out.Duration[name], err = time.ParseDuration(s)
		}
		if err != nil {
			t.Fatal(err)
		}
	}
	return out
}

func growthLimit(t testing.TB, v values) Limit {
	t.Helper()
	l, err := growthKind.New("the-limit", growthValues(t, v))
	if err != nil {
		t.Fatal(err)
	}
	return l
}

// aDecade grows by one decade an hour at 10 C.
var aDecade = values{"form": "square_root", "b": "0.1", "tmin": "0 C", "rate": "log10_per_hour", "logs": "2", "max_gap": "1h"}

// peaked grows fastest at 37 C, by two decades an hour.
var peaked = values{"form": "cardinal", "tmin": "5 C", "topt": "37 C", "tmax": "45 C", "mu_opt": "2", "rate": "log10_per_hour", "logs": "3", "max_gap": "1h"}

// with is v with some parameters changed; "" takes one away.
func with(v values, pairs ...string) values {
	out := values{}
	for k, s := range v {
		out[k] = s
	}
	for i := 0; i < len(pairs); i += 2 {
		out[pairs[i]] = pairs[i+1]
		if pairs[i+1] == "" {
			delete(out, pairs[i])
		}
	}
	return out
}

func TestGrowthParametersRefused(t *testing.T) {
	t.Parallel()
	published := values{"named": "listeria-cooked-ham", "logs": "1", "max_gap": "1h"}
	uncertain := with(published, "named", "listeria-lettuce")
	for _, x := range []struct {
		at, rule string
		v        values
	}{
		{"logs", "missing-parameter", with(aDecade, "logs", "")},
		{"max_gap", "missing-parameter", with(aDecade, "max_gap", "")},
		{"model.form", "missing-parameter", values{"logs": "1", "max_gap": "1h"}},
		{"model.form", "unknown-word", with(aDecade, "form", "linear")},
		{"model.rate", "unknown-word", with(aDecade, "rate", "log")},
		{"model.named", "unknown-word", with(published, "named", "listeria")},
		{"model.named", "too-many-parameters", with(aDecade, "named", "listeria-cooked-ham")},
		{"model.b", "missing-parameter", with(aDecade, "b", "")},
		{"model.tmin", "missing-parameter", with(aDecade, "tmin", "")},
		{"model.tmax", "not-supported", with(aDecade, "tmax", "45 C")},
		{"model.mu_opt", "not-supported", with(aDecade, "mu_opt", "1")},
		{"model.b", "out-of-range", with(aDecade, "b", "2.3")},
		{"model.c", "missing-parameter", with(aDecade, "form", "ratkowsky", "tmax", "45 C")},
		{"model.rate", "missing-parameter", with(aDecade, "form", "ratkowsky", "tmax", "45 C", "c", "0.2", "rate", "")},
		{"model.rate", "missing-parameter", with(peaked, "rate", "")},
		{"model.b", "not-supported", with(peaked, "b", "0.1")},
		{"model.topt", "out-of-range", with(peaked, "topt", "46 C")},
		{"model.tmax", "out-of-range", with(peaked, "tmax", "4 C")},
		{"model.b", "too-many-parameters", with(published, "b", "0.1")},
		{"model.rate", "not-supported", with(published, "rate", "ln_per_hour")},
		{"model.rate", "missing-parameter", uncertain},
	} {
		_, err := growthKind.New("the-limit", growthValues(t, x.v))
		var p *ParameterError
		if !errors.As(err, &p) || p.Parameter != x.at || p.Rule != x.rule || p.Detail == "" {
			t.Errorf("%v: %v, want %s at %s", x.v, err, x.rule, x.at)
		}
	}
}

func TestGrowthText(t *testing.T) {
	t.Parallel()
	for want, v := range map[string]values{
		"at most 2 log10 of growth, square_root with b 0.1, tmin 0 C, log10_per_hour":                                                                      aDecade,
		"at most 1 log10 of growth, square_root with b 0.023, tmin -1.5 C, its rate taken as log10_per_hour":                                               {"form": "square_root", "b": "0.023", "tmin": "-1.5 C", "logs": "1.0", "max_gap": "1h"},
		"at most 3 log10 of growth, cardinal with tmin 5 C, topt 37 C, tmax 45 C, mu_opt 2, log10_per_hour":                                                peaked,
		"at most 1 log10 of growth, listeria-cooked-ham (Listeria monocytogenes, sliced cooked cured ham)":                                                 {"named": "listeria-cooked-ham", "logs": "1", "max_gap": "1h"},
		"at most 1 log10 of growth, listeria-lettuce (Listeria monocytogenes, lettuce), log10_per_hour as the plant states":                                {"named": "listeria-lettuce", "rate": "log10_per_hour", "logs": "1", "max_gap": "1h"},
		"at most 1 log10 of growth, e-coli-raw-meat (Escherichia coli, meat: aw 0.993, pH 5.7, lactate 80 mM (check conditions)), its numbers from memory": {"named": "e-coli-raw-meat", "logs": "1", "max_gap": "1h"},
	} {
		if l := growthLimit(t, v); l.Text != want {
			t.Errorf("%q, want %q", l.Text, want)
		}
	}
}

// TestEveryPublishedModel: every one can be named, with its rate's unit if the
// source does not say it.
func TestEveryPublishedModel(t *testing.T) {
	t.Parallel()
	for _, name := range growth.Names() {
		p, _ := growth.Lookup(name)
		v := values{"named": name, "logs": "1", "max_gap": "1h"}
		if !p.RateCertain {
			v["rate"] = string(growth.Log10PerHour)
		}
		l := growthLimit(t, v)
		if told := l.Criterion.(teller).tell(series.Series{}); len(told) != 1 || !strings.Contains(told[0], p.Source) {
			t.Errorf("%s: %q", name, told)
		}
	}
}

// TestGrowthJudge is every rule on plain series, an hour apart unless the name
// says otherwise. By hand: b²(T − Tmin)² decades an hour.
func TestGrowthJudge(t *testing.T) {
	t.Parallel()
	na := math.NaN()
	for _, x := range []struct {
		name  string
		at    []float64
		step  time.Duration
		want  Decision
		value float64
	}{
		{"two decades", []float64{10, 10, 10}, time.Hour, Holds, 2},
		{"one more", []float64{10, 10, 10, 10}, time.Hour, Fails, 3},
		{"cold", []float64{5, 5, 5, 5}, time.Hour, Holds, 0.75},
		{"warming", []float64{0, 10}, time.Hour, Holds, 1. / 3},
		{"no growth", []float64{-5, 0, -5}, time.Hour, Holds, 0},
		{"a gap", []float64{10, 10}, 61 * time.Minute, Undecided, 0},
		{"a gap beside a miss", []float64{10, 10, 10, 10, na}, time.Hour, Fails, na},
		{"unknown leaves it open", []float64{5, na, 5}, time.Hour, Undecided, na},
		{"one reading", []float64{10}, time.Hour, Undecided, 0},
		{"one reading at Tmin", []float64{0}, time.Hour, Holds, 0},
		{"nothing", nil, time.Hour, Undecided, na},
	} {
		t.Run(x.name, func(t *testing.T) {
			t.Parallel()
			l := growthLimit(t, aDecade)
			s := series.Series{Scale: c}
			for i, d := range x.at {
				r := series.Sample{At: start + int64(i)*x.step.Microseconds(), T: unit.Unknown}
				if !math.IsNaN(d) {
					r.T = unit.FromFloat(d, unit.Hotter)
				}
				s.Samples = append(s.Samples, r)
			}
			out := l.Criterion.Judge(s)
			if out.Decision != x.want || (out.Value == nil) != math.IsNaN(x.value) || out.Value != nil && math.Abs(*out.Value-x.value) > 1e-12 {
				t.Errorf("%v, value %s; want %v, %v", out.Decision, show(out.Value), x.want, x.value)
			}
		})
	}
}

// TestGrowthEndsOfTheLot: the time to a known start or end counts, with the
// temperature of the reading next to it.
func TestGrowthEndsOfTheLot(t *testing.T) {
	t.Parallel()
	l := growthLimit(t, aDecade)
	for _, x := range []struct {
		before, after int64
		want          Verdict
	}{
		{0, 0, Met}, {60, 0, Met}, {60, 1, Missed}, {61, 0, Unknown}, {0, 61, Unknown},
	} {
		s := record(l, time.Hour, c, 10, 10)
		s.Start, s.End = start-x.before*minute, start+(60+x.after)*minute
		if r := evaluate(t, l, s, clean); r.Verdict != x.want {
			t.Errorf("%d and %d minutes: %s, want %s (%q)", x.before, x.after, r.Verdict, x.want, r.Reasons)
		}
	}
}

// chilled is a week at one temperature, a reading an hour.
func chilled(l Limit, degrees float64) series.Series {
	return record(l, time.Hour, c, slices.Repeat([]float64{degrees}, 7*24+1)...)
}

// readLow is an instrument that read so much too low all that week.
func readLow(most, least unit.CelsiusDiff) Errors {
	after, until := start-minute, start+8*24*60*minute
	return metrology.Constant(-most, -least, -least, -most, 0, after, until, until)
}

// TestChilledHam: a week at 5 C gives 0.8562 decades (growth_predictions.csv
// GP-050, Mataragas 2006 ham). At T it gives 7(0.058(T + 1.03))², by the same
// model, so that one decade is reached at 5.4866 C.
func TestChilledHam(t *testing.T) {
	t.Parallel()
	l := growthLimit(t, values{"named": "listeria-cooked-ham", "logs": "1", "max_gap": "1h"})
	r := evaluate(t, l, chilled(l, 5), clean)
	near(t, "recorded", *r.Measure.Recorded, number(t, published(t, "growth_predictions.csv")["GP-050"]["recomputed_value"]), 5e-5)
	hot := math.Sqrt(1./7)/0.058 - 1.03
	near(t, "headroom", float64(*r.Headroom), hot-5, 1e-6)
	if r.Verdict != Met || r.Measure.Unit != "log10" || *r.Measure.Required != 1 || r.Method != "limit/growth@1" {
		t.Errorf("%s, %+v", r.Verdict, r.Measure)
	}
	for read, want := range map[float64]Verdict{0.4: Met, 0.5: Indeterminate} {
		r := evaluate(t, l, chilled(l, 5), readLow(unit.CelsiusDiff(read), 0))
		if r.Verdict != want {
			t.Errorf("read low by %v: %s, want %s", read, r.Verdict, want)
		}
		near(t, "worst", *r.Measure.Worst, 7*math.Pow(0.058*(6.03+read), 2), 1e-9)
	}
	if r := evaluate(t, l, chilled(l, 5), readLow(0.9, 0.5)); r.Verdict != Missed {
		t.Errorf("every error is too much: %s", r.Verdict)
	}
	if !mentions(r, "Mataragas") {
		t.Errorf("the source is not told: %q", r.Reasons)
	}
	if r := evaluate(t, l, chilled(l, 25), clean); !mentions(r, "fitted up to 20 C") { // GM-012, T_range_in_model_file_high_C
		t.Errorf("beyond the model: %q", r.Reasons)
	}
}

// TestWorseThanEitherEnd: with the true temperature anywhere from 30 C to 44 C
// an hour may have been spent at the optimum, which neither end comes near.
func TestWorseThanEitherEnd(t *testing.T) {
	t.Parallel()
	l := growthLimit(t, with(peaked, "logs", "1.9"))
	s := record(l, time.Hour, c, 37, 37)
	r := evaluate(t, l, s, bracketOf(7, -7, 0, c))
	near(t, "worst", *r.Measure.Worst, 2, 1e-9)
	for _, e := range []float64{7, -7} {
		if one := evaluate(t, l, s, bracketOf(e, e, 0, c)); *one.Measure.Worst > 1.9 {
			t.Errorf("one end alone gives %v", *one.Measure.Worst)
		}
	}
	if r.Verdict != Indeterminate {
		t.Errorf("%s (%q)", r.Verdict, r.Reasons)
	}
}

// TestHeadroomIsTheFirstFailure: at 30 C for an hour, with less allowed than the
// optimum gives, the first failure is below the optimum, though 15 K hotter
// nothing grows at all.
func TestHeadroomIsTheFirstFailure(t *testing.T) {
	t.Parallel()
	l := growthLimit(t, with(peaked, "logs", "1.9"))
	s := record(l, time.Hour, c, 30, 30)
	h, ok := l.Criterion.Headroom(s)
	if !ok || h <= 0 || h >= 7 {
		t.Errorf("headroom %v, %v", h, ok)
	}
	if d := l.Criterion.Judge(harmed(s, unit.Hotter, 15_000_000)).Decision; d != Holds {
		t.Errorf("at 45 C: %v", d)
	}
	if h, ok := growthLimit(t, with(peaked, "logs", "2.1")).Criterion.Headroom(s); ok {
		t.Errorf("no shift fails, and the headroom is %v", h)
	}
}

func TestGrowthWhereTheInstrumentMustBeGood(t *testing.T) {
	t.Parallel()
	l := growthLimit(t, with(peaked, "tmin", "41 F", "topt", "98.6 F", "tmax", "113 F"))
	if got := l.Criterion.Temperatures(); len(got) != 1 || got[0] != 5 || l.Criterion.Scale() != f {
		t.Errorf("%v on %s", got, l.Criterion.Scale())
	}
	if lo, hi := l.Criterion.Span(); math.Abs(float64(lo+15)) > 1e-9 || math.Abs(float64(hi-65)) > 1e-9 {
		t.Errorf("from %v to %v", lo, hi)
	}
	if lo, hi := growthLimit(t, aDecade).Criterion.Span(); lo != -20 || hi != unit.MaxDegrees {
		t.Errorf("without an end: from %v to %v", lo, hi)
	}
}
