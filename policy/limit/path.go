package limit

import (
	"lastgood/policy/metrology"
	"lastgood/policy/series"
	"lastgood/policy/unit"
)

// Path is one reading as Evaluate took it, so that a verdict can be recomputed
// by hand. Temperatures are on the scale of the limit; unit.Unknown where
// nothing can be said.
type Path struct {
	At       int64 // [µs]
	Standing metrology.Standing
	Error    metrology.Bounds // zero unless Standing is Known [K]

	Recorded    unit.Micro
	Corrected   unit.Micro // with the error as found taken out
	Worst, Best unit.Micro // at the two ends of the bracket
}

// Paths returns every reading of s as Evaluate takes it.
func (l Limit) Paths(s series.Series, errs Errors) ([]Path, error) {
	c := l.Criterion
	if err := judgeable(s, c); err != nil {
		return nil, err
	}
	b := take(s, errs, c)
	out := make([]Path, len(s.Samples))
	for i, r := range s.Samples {
		out[i] = Path{At: r.At, Standing: metrology.Unknown, Recorded: r.T,
			Corrected: b.at[i][found], Worst: b.at[i][worst], Best: b.at[i][best]}
		if r.T == unit.Unknown {
			continue
		}
		e, standing := errs.At(r.At, unit.ToCelsius(r.T, c.Scale()))
		if out[i].Standing = standing; standing == metrology.Known {
			out[i].Error = e
		}
	}
	return out, nil
}
