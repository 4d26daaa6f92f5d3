package limit

import (
	"math"
	"time"

	"lastgood/policy/series"
	"lastgood/policy/unit"
)

// coolingKind is product cooled quickly enough: from 57 C to 21 C in 2 h, and
// from 57 C to 5 C in 6 h. A clock over several stages is a stage of its own.
var coolingKind = Kind{
	Name: "cooling",
	Parameters: []Parameter{
		{Name: "stages", Form: Rows, Required: true, Temperatures: 2},
		{Name: "max_gap", Form: Duration, Required: true},
	},
	build: buildCooling,
}

func buildCooling(v Values) (Criterion, error) {
	rows := v.Rows["stages"]
	c := cooling{gap: micros(v, "max_gap")}
	for i, r := range rows {
		from, to, at := r.Temperatures[0], r.Temperatures[1], rowAt("stages", i)
		switch {
		case from.Scale != rows[0].Temperatures[0].Scale || to.Scale != from.Scale:
			return nil, &ParameterError{at, "mixed-units", "all temperatures of stages are on one scale: " + rows[0].Temperatures[0].Scale.String()}
		case to.Value >= from.Value:
			return nil, &ParameterError{at, "not-descending", "a stage goes from its higher to its lower temperature"}
		case r.Time == 0:
			return nil, &ParameterError{at, "out-of-range", "the time of a stage must be more than 0"}
		}
		c.stages = append(c.stages, stage{from, to, r.Time.Microseconds(), c.gap})
	}
	return c, nil
}

// cooling is a number of stages, each with a clock of its own; all must be kept.
type cooling struct {
	stages []stage
	gap    int64 // [µs]
}

// Scale is the scale the stages are written in.
func (c cooling) Scale() unit.Scale { return c.stages[0].from.Scale }

// Harm is Hotter: product that was warmer than it read was warm for longer. That
// is the usual case and not a rule: a clock may also start later.
func (c cooling) Harm() unit.Rounding { return unit.Hotter }

// Judge runs every clock on the series as it stands.
func (c cooling) Judge(s series.Series) Outcome {
	out, _ := c.within(s, s)
	return out
}

// within judges every stage over all paths between two series. The worst of all
// paths is exact: it is the worst of some stage. The best is the best of every
// stage by itself, which no single path need reach; that can only turn missed
// into indeterminate.
func (c cooling) within(cold, hot series.Series) (worst, best Outcome) {
	w, b := together{Holds, 0, false}, together{Holds, 0, false}
	hole := lastHole(cold, c.gap)
	for _, st := range c.stages {
		r := st.over(cold.Samples, hot.Samples, hole)
		w.add(r.worst, r.longest, st.time)
		b.add(r.best, r.shortest, st.time)
	}
	return w.outcome(), b.outcome()
}

// together is stages of which all must hold. One that fails decides.
type together struct {
	decision Decision
	share    float64 // the largest share of a stage's time
	silent   bool    // the clock of some stage cannot be told
}

// standing ranks decisions from the worst to the best.
var standing = [...]int{Fails: 0, Undecided: 1, Holds: 2}

func (t *together) add(d Decision, clock, allowed int64) {
	if standing[d] < standing[t.decision] {
		t.decision = d
	}
	if clock < 0 {
		t.silent = true
		return
	}
	t.share = max(t.share, 100*float64(clock)/float64(allowed))
}

func (t together) outcome() Outcome {
	out := Outcome{Decision: t.decision}
	if !t.silent || t.decision == Fails && t.share > 0 {
		out.Value = new(t.share)
	}
	return out
}

// Headroom is how much hotter the whole record may be before a clock is first
// overrun or no longer ends.
func (c cooling) Headroom(s series.Series) (unit.CelsiusDiff, bool) { return headroom(c, s) }

func (c cooling) gapAfter() int64 { return c.gap }

func (c cooling) measure() Measure {
	return Measure{Name: "largest share of a stage's time", Unit: "%", Required: new(100.)}
}

// otherRules are the clocks of the stages one by one.
func (c cooling) otherRules(s series.Series) []named {
	h := lastHole(s, c.gap)
	var out []named
	for _, st := range c.stages {
		n := named{rule: "time from " + st.from.String() + " to " + st.to.String(), unit: "s"}
		if r := st.over(s.Samples, s.Samples, h); r.longest >= 0 {
			n.value = new(seconds(r.longest))
		}
		out = append(out, n)
	}
	return out
}

// Temperatures returns where the clocks start and end.
func (c cooling) Temperatures() []unit.Celsius {
	var out []unit.Celsius
	for _, st := range c.stages {
		out = append(out, st.from.Celsius(), st.to.Celsius())
	}
	return out
}

// Span returns the indicated temperatures at which an error can hide a miss: as
// far around the ends of the stages as an error reaches.
func (c cooling) Span() (lo, hi unit.Celsius) {
	lo, hi = unit.Celsius(math.Inf(1)), unit.Celsius(math.Inf(-1))
	for _, t := range c.Temperatures() {
		lo, hi = min(lo, t), max(hi, t)
	}
	return lo - nearBy, hi + nearBy
}

// String returns "from 57 C to 21 C within 2h, and from 21 C to 5 C within 4h".
func (c cooling) String() string {
	text := ""
	for i, st := range c.stages {
		if i > 0 {
			text += ", and "
		}
		text += "from " + st.String()
	}
	return text
}

// String returns "57 C to 21 C within 2h".
func (st stage) String() string {
	return st.from.String() + " to " + st.to.String() + " within " + written(time.Duration(st.time)*time.Microsecond)
}
