package metrology_test

import (
	"math"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"lastgood/policy/metrology"
	"lastgood/policy/unit"
)

func TestIcePoint(t *testing.T) {
	t.Parallel()
	// 0 °C, 32 °F and 273.15 K by definition.
	for s, want := range map[unit.Scale]float64{unit.CelsiusScale: 0, unit.FahrenheitScale: 32, unit.KelvinScale: 273.15} {
		ref := metrology.IcePoint(s, nil)
		if ref.True != micro(want) || ref.Scale != s {
			t.Errorf("ice is %s %s", ref.True, ref.Scale)
		}
		// thermometer_checks.csv TC053: 0.01 °C is routine accuracy; a plant's bath is no better.
		if ref.U < 0.01 || !strings.Contains(ref.Basis, "judgement") {
			t.Errorf("ice: u = %g, %q", ref.U, ref.Basis)
		}
	}
	ref := metrology.IcePoint(unit.CelsiusScale, ptr(unit.CelsiusDiff(0.02)))
	if ref.U != 0.01 || len(ref.Budget) != 1 || !strings.Contains(ref.Basis, "as stated") {
		t.Errorf("stated ±0.02: %+v", ref)
	}
}

func TestBoilingPointSources(t *testing.T) {
	t.Parallel()
	measured, err := metrology.BoilingPoint(unit.FahrenheitScale, ptr(101.325), 0, nil)
	if err != nil {
		t.Fatal(err)
	}
	// boiling_point.csv BP0273: 99.9743 °C at 101.325 kPa, 211.9537 °F.
	if math.Abs(measured.True.Degrees()-211.9537) > 1e-4 || !strings.Contains(measured.Basis, "as measured") {
		t.Errorf("%s °F: %s", measured.True, measured.Basis)
	}
	byAltitude, err := metrology.BoilingPoint(unit.FahrenheitScale, nil, 0, nil)
	if err != nil {
		t.Fatal(err)
	}
	if byAltitude.True != measured.True || byAltitude.U <= 5*measured.U || !strings.Contains(byAltitude.Basis, "weather") {
		t.Errorf("by altitude %s ± %g: %s", byAltitude.True, byAltitude.U, byAltitude.Basis)
	}
	stated, err := metrology.BoilingPoint(unit.CelsiusScale, nil, 300, ptr(unit.CelsiusDiff(0.4)))
	if err != nil {
		t.Fatal(err)
	}
	if stated.U != 0.2 {
		t.Errorf("stated ±0.4: u = %g", stated.U)
	}
	// boiling_point.csv BP0285: pressure reduced to sea level, typed at 1000 m.
	reduced, err := metrology.BoilingPoint(unit.CelsiusScale, ptr(101.325), 1000, nil)
	if err != nil || !strings.Contains(reduced.Basis, "reduced to sea level") {
		t.Errorf("%v: %s", err, reduced.Basis)
	}
}

func TestBoilingPointRefuses(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		pressure *float64
		altitude float64
	}{
		{ptr(1013.25), 0}, // hPa typed as kPa
		{ptr(math.NaN()), 0},
		{ptr(14.7), 0}, // psi typed as kPa
		{nil, 12000},
		{nil, math.NaN()},
		{nil, math.Inf(-1)},
	} {
		if ref, err := metrology.BoilingPoint(unit.CelsiusScale, c.pressure, c.altitude, nil); err == nil {
			t.Errorf("%v at %g m gave %s", c.pressure, c.altitude, ref.True)
		}
	}
	if _, err := metrology.SaturationTemperature(0.5); err == nil {
		t.Error("0.5 kPa is below the triple point")
	}
	if _, err := metrology.SaturationPressure(400); err == nil {
		t.Error("400 °C is above the critical point")
	}
}

// Boiling goes down with altitude, and the two equations of region 4 are each
// other's inverse.
func TestBoilingProperties(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		low := rapid.Float64Range(-400, 4000).Draw(t, "low")
		high := low + rapid.Float64Range(1, 1000).Draw(t, "climb")
		p, err := metrology.StandardPressure(low)
		if err != nil {
			t.Fatal(err)
		}
		q, err := metrology.StandardPressure(high)
		if err != nil {
			t.Fatal(err)
		}
		a, err := metrology.SaturationTemperature(p)
		if err != nil {
			t.Fatal(err)
		}
		b, err := metrology.SaturationTemperature(q)
		if err != nil {
			t.Fatal(err)
		}
		if b >= a {
			t.Fatalf("boils at %g at %g m and at %g at %g m", a, low, b, high)
		}
		back, err := metrology.SaturationPressure(a)
		if err != nil || math.Abs(back/p-1) > 1e-9 {
			t.Fatalf("%g kPa came back as %g: %v", p, back, err)
		}
	})
}

// certified is an invented certificate: +0.10 ± 0.05 at 0 °C, −0.30 ± 0.15 at
// 100 °C.
func certified() *metrology.Certificate {
	return &metrology.Certificate{Number: "K-17", Scale: unit.CelsiusScale, Points: []metrology.CertificatePoint{
		{At: micro(0), Correction: micro(0.1), ExpandedUncertainty: micro(0.05)},
		{At: micro(100), Correction: micro(-0.3), ExpandedUncertainty: micro(0.15)},
	}}
}

func TestComparedWithCertificate(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		reading, want, u float64
	}{
		{0, 0.1, 0.025},
		{100, 99.7, 0.075},
		{50, 49.9, 0.05},                      // half way: −0.1, U 0.10
		{71.1, 70.9156, 0.025 + 0.711*0.05},   // by hand
		{105, 104.7, 0.075 * math.Sqrt(1.25)}, // 5 K beyond: outer correction, grown
		{-10, -9.9, 0.025 * math.Sqrt2},       // 10 K below
		{110, 109.7, 0.075 * math.Sqrt2},      // 10 K above
	} {
		ref, err := metrology.Compared(unit.CelsiusScale, micro(c.reading), certified(), nil)
		if err != nil {
			t.Fatal(err)
		}
		if ref.True != micro(c.want) || math.Abs(float64(ref.U)-c.u) > 1e-9 {
			t.Errorf("reads %g: true %s, u %g; want %g, %g", c.reading, ref.True, ref.U, c.want, c.u)
		}
		if beyond := c.reading < 0 || c.reading > 100; strings.Contains(ref.Basis, "beyond") != beyond {
			t.Errorf("reads %g: %s", c.reading, ref.Basis)
		}
	}
	for _, r := range []float64{-10.001, 110.001} {
		if _, err := metrology.Compared(unit.CelsiusScale, micro(r), certified(), nil); err == nil || !strings.Contains(err.Error(), "0 to 100 C") {
			t.Errorf("reads %g: %v", r, err)
		}
	}
}

func TestComparedAcrossScalesAndUncertainties(t *testing.T) {
	t.Parallel()
	// 122 °F is 50 °C: correction −0.1 °C is −0.18 °F, a difference that never shifts by 32.
	ref, err := metrology.Compared(unit.FahrenheitScale, micro(122), certified(), ptr(unit.CelsiusDiff(0.02)))
	if err != nil || ref.True != micro(121.82) || math.Abs(float64(ref.U)-0.05) > 1e-9 {
		t.Errorf("true %s, u %g, %v", ref.True, ref.U, err)
	}
	ref, err = metrology.Compared(unit.FahrenheitScale, micro(122), certified(), ptr(unit.CelsiusDiff(0.5)))
	if err != nil || ref.U != 0.25 {
		t.Errorf("the larger uncertainty: u %g, %v", ref.U, err)
	}
	ref, err = metrology.Compared(unit.CelsiusScale, micro(71.1), nil, ptr(unit.CelsiusDiff(0.3)))
	if err != nil || ref.True != micro(71.1) || ref.U != 0.15 || !strings.Contains(ref.Basis, "no certificate") {
		t.Errorf("without a certificate: %+v, %v", ref, err)
	}
	ref, err = metrology.Compared(unit.CelsiusScale, micro(71.1), nil, nil)
	if err != nil || ref.U != 0.5 || !strings.Contains(ref.Basis, "assumed") { // thermometer_checks.csv TC058: echelon IV ends at 1.0 °C
		t.Errorf("with nothing stated: %+v, %v", ref, err)
	}
	if _, err := metrology.Compared(unit.CelsiusScale, 0, &metrology.Certificate{Number: "K-18"}, nil); err == nil {
		t.Error("a certificate without points")
	}
	one := &metrology.Certificate{Number: "K-19", Scale: unit.CelsiusScale, Points: certified().Points[:1]}
	ref, err = metrology.Compared(unit.CelsiusScale, 0, one, nil)
	if err != nil || ref.True != micro(0.1) || ref.U != 0.025 {
		t.Errorf("a certificate of one point: %+v, %v", ref, err)
	}
}
