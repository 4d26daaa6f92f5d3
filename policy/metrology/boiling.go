package metrology

import (
	"fmt"
	"math"

	"lastgood/policy/unit"
)

const (
	// pressureReading is the standard uncertainty [kPa] of a station pressure
	// that was measured. A judgement: a plant's barometer read to the nearest
	// few hPa, 0.03 K of boiling point.
	pressureReading = 0.1
	// weather is the half-width by which the pressure of the day may differ from
	// the standard atmosphere's, as a share of it. An assumption, not published
	// (boiling_point.csv BP0288).
	weather = 0.03
	// waterHead is the standard uncertainty [K] from the water above the probe:
	// at most 5 cm of it, which is 0.1297 K (boiling_point.csv BP0275), flat.
	// That a probe is held no deeper is a judgement.
	waterHead = 0.1297 / 1.7320508
	// reduced is how far, as a share, a station pressure may lie from the
	// standard for the altitude before the record asks whether it had been
	// reduced to sea level, as weather services report it.
	reduced = 0.05
)

// BoilingPoint is the boiling point of water at the site: at the station
// pressure if it was measured, else at the standard atmosphere's pressure for
// the site's altitude.
//
//	u² = (dTs/dp · u_p)² + u_head²
//
//	u_p     0.1 kPa if measured, else 0.03·p/√3 for the weather [kPa]
//	u_head  0.075 K, water above the probe                      [K]
//
// Range:   30 to 120 kPa; altitude −1000 to 11000 m.
// Assumes: the pressure is that at the site, not reduced to sea level; the
// weather's share is flat on ±3 %.
// Source:  SaturationTemperature and StandardPressure; JCGM 100:2008, 5.1.2, from
// memory.
// Departs: a stated expanded uncertainty (k = 2) takes the place of all parts.
// Checked: boiling_point.csv BP0288 to BP0293.
func BoilingPoint(s unit.Scale, pressureKPa *float64, altitudeM float64, stated *unit.CelsiusDiff) (Reference, error) {
	p, up, basis, err := stationPressure(pressureKPa, altitudeM)
	if err != nil {
		return Reference{}, err
	}
	t, err := SaturationTemperature(p)
	if err != nil {
		return Reference{}, err
	}
	ref := Reference{True: onScale(t, s), Scale: s, Basis: fmt.Sprintf("water boils at %.2f °C at %s", float64(t), basis)}
	if stated != nil {
		ref.Basis += "; uncertainty as stated at the check"
	}
	return ref.with(stated,
		Component{Name: "pressure", U: unit.CelsiusDiff(boilingSlope(p) * up)},
		Component{Name: "water above the probe", U: waterHead}), nil
}

// stationPressure is the pressure to use [kPa], its standard uncertainty [kPa]
// and where it comes from.
func stationPressure(measured *float64, altitudeM float64) (p, u float64, basis string, err error) {
	standard, err := StandardPressure(altitudeM)
	if measured == nil {
		return standard, weather * standard / math.Sqrt(3),
			fmt.Sprintf("%.1f kPa, the standard atmosphere at %g m; the weather's ±3 %% is in the uncertainty", standard, altitudeM), err
	}
	p = *measured
	if !(p >= 30 && p <= 120) {
		return 0, 0, "", fmt.Errorf("%g kPa is no pressure at a site: expected 30 to 120 kPa (1 kPa = 10 hPa)", p)
	}
	basis = fmt.Sprintf("%g kPa, the station pressure as measured", p)
	if err == nil && math.Abs(p/standard-1) > reduced {
		basis += fmt.Sprintf("; the standard for %g m is %.1f kPa: was it reduced to sea level", altitudeM, standard)
	}
	return p, pressureReading, basis, nil
}

// onScale is a computed temperature on a scale, to the nearest millionth.
func onScale(t unit.Celsius, s unit.Scale) unit.Micro {
	switch s {
	case unit.FahrenheitScale:
		return nearest(float64(t)*9/5 + 32)
	case unit.KelvinScale:
		return nearest(float64(t) + zeroCelsius)
	}
	return nearest(float64(t))
}

// StandardPressure is the pressure [kPa] of the standard atmosphere at a
// geometric altitude.
//
//	p = 101.325 (1 − 0.0065 H / 288.15)^5.2558797             [kPa]
//	H = r Z / (r + Z)                                         [m, geopotential]
//
//	Z  geometric altitude [m]
//	r  6356766 m, the earth's radius in the model
//	exponent g₀M/(R·L) with g₀ 9.80665 m/s², M 0.0289644 kg/mol,
//	R 8.31432 J/(mol K), L 0.0065 K/m
//
// Range:   −1000 m ≤ Z ≤ 11000 m, else an error.
// Assumes: the standard day; the weather moves it by some ±3 %.
// Source:  U.S. Standard Atmosphere, 1976 (same as ICAO Doc 7488 below 11 km).
// Read:    second-hand, through published/metrology.
// Departs: nothing.
// Checked: testdata/published/metrology/boiling_point.csv
func StandardPressure(altitudeM float64) (kPa float64, err error) {
	if !(altitudeM >= -1000 && altitudeM <= 11000) {
		return 0, fmt.Errorf("%g m is no altitude of a site: expected -1000 to 11000 m", altitudeM)
	}
	const (
		radius   = 6356766.0
		exponent = 9.80665 * 0.0289644 / (8.31432 * 0.0065)
	)
	h := radius * altitudeM / (radius + altitudeM)
	return 101.325 * math.Pow(1-0.0065*h/288.15, exponent), nil
}
