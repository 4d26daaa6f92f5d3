package metrology

import (
	"math"

	"lastgood/policy/unit"
)

// Component is one line of an uncertainty budget.
type Component struct {
	Name string
	U    unit.CelsiusDiff // standard uncertainty [K]
	DoF  float64          // degrees of freedom of U; 0 means infinitely many
}

// Reference is the true temperature at a check point and how well it is known.
type Reference struct {
	True   unit.Micro // on Scale, rounded to the nearest millionth
	Scale  unit.Scale
	U      unit.CelsiusDiff // standard uncertainty [K]
	DoF    float64          // effective degrees of freedom of U; 0 means infinitely many
	Budget []Component      // what U is made of
	Basis  string           // one sentence a person can read
}

// iceRealisation is the standard uncertainty of the ice point as a plant makes
// it: crushed ice and water, stirred, a probe not deep enough to be perfect. A
// judgement: published routine accuracy is 0.01 °C (thermometer_checks.csv
// TC053, metrologyrules.com 2014), and a kitchen bath is several times worse,
// mostly warm.
const iceRealisation unit.CelsiusDiff = 0.05

// IcePoint is the melting point of ice in air-saturated water: 0 °C by
// definition. Stated is the expanded uncertainty (k = 2) that the check's
// record gives; without one the default of a plant's ice bath stands.
func IcePoint(s unit.Scale, stated *unit.CelsiusDiff) Reference {
	ref := Reference{
		True: unit.Convert(0, unit.CelsiusScale, s, unit.Colder), Scale: s,
		Basis: "ice point, 0 °C by definition; the bath's uncertainty is a judgement for a plant's ice bath",
	}
	if stated != nil {
		ref.Basis = "ice point, 0 °C by definition; uncertainty as stated at the check"
	}
	return ref.with(stated, Component{Name: "ice bath", U: iceRealisation})
}

// with completes a reference with its budget: the stated expanded uncertainty
// (k = 2) alone where there is one, else the given parts.
func (r Reference) with(stated *unit.CelsiusDiff, parts ...Component) Reference {
	if stated != nil {
		parts = []Component{{Name: "reference, as stated", U: *stated / 2}}
	}
	r.Budget = parts
	r.U, r.DoF = Combine(parts...)
	return r
}

// nearest rounds a computed number of degrees to the nearest millionth.
func nearest(degrees float64) unit.Micro {
	return unit.Micro(math.Round(degrees * unit.PerDegree))
}
