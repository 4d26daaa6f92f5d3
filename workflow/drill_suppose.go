package workflow

import (
	"math"
	"slices"
	"time"

	"lastgood/policy/limit"
	"lastgood/policy/metrology"
	"lastgood/policy/unit"
	"lastgood/workflow/fault"
	"lastgood/workflow/instrument"
)

// check returns the check that is supposed. Where nobody says at which
// temperatures, it has the points of the latest check before it; of an
// instrument that was never checked, the temperatures of its limits.
func (sup Supposition) check(in instrument.Stored, h instrument.History, served []limit.Criterion) (metrology.Check, error) {
	c := metrology.Check{At: sup.At.UnixMicro()}
	if sup.At.Before(earliest) || !sup.At.Before(latest) {
		return c, fault.New(fault.Invalid, "out-of-range", "%s is not a time between 1990 and 2100", sup.At.Format(time.RFC3339)).In("body.at")
	}
	last := lastPoints(h, c.At)
	switch {
	case len(sup.Points) > 0 && sup.Error != nil:
		return c, fault.New(fault.Invalid, "points-or-error", "suppose an error at given points, or one error at all of them, not both").In("body.error")
	case len(sup.Points) > 0:
		for _, p := range sup.Points {
			c.Points = append(c.Points, sup.point(in, p, last))
		}
	case sup.Error == nil:
		c.Unusable = true
	case len(last) > 0:
		for _, p := range last {
			c.Points = append(c.Points, sup.again(in, p))
		}
	default:
		for _, t := range temperaturesOf(served) {
			truth := degreesOn(t, sup.Scale)
			c.Points = append(c.Points, sup.point(in, SupposedPoint{At: truth + *sup.Error, Error: *sup.Error}, nil))
		}
		if len(c.Points) == 0 {
			return c, fault.New(fault.Invalid, "never-checked", "%s was never checked and nobody knows for which limit it is read: say at which temperatures (points)",
				in.Code).In("body.points")
		}
	}
	return c, nil
}

// lastPoints returns the points of the latest check before a time that has some
// with an as-found value.
func lastPoints(h instrument.History, before int64) []metrology.Point {
	for _, c := range slices.Backward(h.Checks) {
		if c.At < before && !c.Unusable && len(c.Points) > 0 {
			return c.Points
		}
	}
	return nil
}

// basisSupposed is what the report says of where a supposed value comes from.
const basisSupposed = "supposed"

// point is a supposed point, known as well as its neighbour was at the latest
// check if nobody says how well.
func (sup Supposition) point(in instrument.Stored, p SupposedPoint, last []metrology.Point) metrology.Point {
	truth := p.At - p.Error
	var stated *unit.CelsiusDiff
	if p.Uncertainty != nil {
		k := unit.Diff{Value: *p.Uncertainty, Scale: sup.Scale}.Kelvin()
		stated = &k
	} else if near := nearestPoint(last, unit.ToCelsius(truth, sup.Scale)); near != nil {
		k := 2 * near.Reference.U
		stated = &k
	}
	ref, _ := metrology.Compared(sup.Scale, truth, nil, stated) // fails over a certificate only
	ref.Basis = basisSupposed
	return metrology.NewPoint(string(instrument.Comparison), ref, &p.At, nil, in.ResolutionDiff())
}

// again is a point of the latest check, where the supposed error is found this
// time.
func (sup Supposition) again(in instrument.Stored, p metrology.Point) metrology.Point {
	ref := p.Reference
	ref.Basis = basisSupposed
	found := ref.True + unit.ConvertDiff(*sup.Error, sup.Scale, ref.Scale, unit.Hotter)
	return metrology.NewPoint(p.Kind, ref, &found, nil, in.ResolutionDiff())
}

func nearestPoint(points []metrology.Point, t unit.Celsius) *metrology.Point {
	var near *metrology.Point
	least := math.Inf(1)
	for i, p := range points {
		if d := math.Abs(float64(unit.ToCelsius(p.Reference.True, p.Reference.Scale).Sub(t))); d < least {
			near, least = &points[i], d
		}
	}
	return near
}

// temperaturesOf returns where an instrument must be good for limits, each once,
// ascending.
func temperaturesOf(limits []limit.Criterion) []unit.Celsius {
	var out []unit.Celsius
	for _, l := range limits {
		out = append(out, l.Temperatures()...)
	}
	slices.Sort(out)
	return slices.Compact(out)
}

// degreesOn is a computed temperature on a scale, to the nearest millionth.
func degreesOn(t unit.Celsius, s unit.Scale) unit.Micro {
	degrees := float64(t)
	switch s {
	case unit.FahrenheitScale:
		degrees = degrees*9/5 + 32
	case unit.KelvinScale:
		degrees += 273.15
	}
	return unit.Micro(math.Round(degrees * unit.PerDegree))
}
