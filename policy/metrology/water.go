package metrology

import (
	"fmt"
	"math"

	"lastgood/policy/unit"
)

// The coefficients of IAPWS-IF97 region 4, IAPWS R7-97(2012), table 34, from
// memory; the source's own verification values test them.
const (
	n1  = 0.11670521452767e4
	n2  = -0.72421316703206e6
	n3  = -0.17073846940092e2
	n4  = 0.12020824702470e5
	n5  = -0.32325550322333e7
	n6  = 0.14915108613530e2
	n7  = -0.48232657361591e4
	n8  = 0.40511340542057e6
	n9  = -0.23855557567849
	n10 = 0.65017534844798e3
)

// zeroCelsius is 0 °C in kelvin, by definition.
const zeroCelsius = 273.15

// SaturationTemperature is the temperature at which water boils.
//
//	Ts = ½ [ n10 + D − √((n10 + D)² − 4 (n9 + n10 D)) ]       [K]
//	D  = 2G / (−F − √(F² − 4EG))
//	E  = β² + n3 β + n6;  F = n1 β² + n4 β + n7;  G = n2 β² + n5 β + n8
//	β  = p^¼
//
//	p   absolute pressure at the site [MPa], here given in kPa
//	ni  coefficients of table 34
//
// Range:    0.611213 kPa ≤ p ≤ 22064 kPa, else an error.
// Assumes:  pure water, the surface at p; a head of water over the probe adds
// about 0.026 K per centimetre.
// Source:   IAPWS R7-97(2012), region 4 backward equation, eq. 31. Read:
// second-hand, through the check values of published/metrology.
// Departs:  nothing.
// Checked:  testdata/published/metrology/boiling_point.csv
func SaturationTemperature(kPa float64) (unit.Celsius, error) {
	if !(kPa >= 0.611213 && kPa <= 22064) {
		return 0, fmt.Errorf("water does not boil at %g kPa: the equation holds from 0.611213 to 22064 kPa", kPa)
	}
	return unit.Celsius(saturation(kPa/1000) - zeroCelsius), nil
}

// saturation is the kernel of SaturationTemperature: MPa in, kelvin out.
func saturation(p float64) float64 {
	b := math.Sqrt(math.Sqrt(p))
	e := b*b + n3*b + n6
	f := n1*b*b + n4*b + n7
	g := n2*b*b + n5*b + n8
	d := 2 * g / (-f - math.Sqrt(f*f-4*e*g))
	return (n10 + d - math.Sqrt((n10+d)*(n10+d)-4*(n9+n10*d))) / 2
}

// SaturationPressure is the pressure [kPa] at which water boils at t.
//
//	p = [ 2C / (−B + √(B² − 4AC)) ]⁴                          [MPa]
//	A = ϑ² + n1 ϑ + n2;  B = n3 ϑ² + n4 ϑ + n5;  C = n6 ϑ² + n7 ϑ + n8
//	ϑ = T + n9 / (T − n10)
//
//	T   temperature [K], here given in °C
//
// Range:    0 °C ≤ t ≤ 373.946 °C, else an error.
// Assumes:  pure water.
// Source:   IAPWS R7-97(2012), region 4, eq. 30. Read: second-hand, as eq. 31.
// Departs:  nothing.
// Checked:  testdata/published/metrology/boiling_point.csv
func SaturationPressure(t unit.Celsius) (kPa float64, err error) {
	k := float64(t) + zeroCelsius
	if !(k >= zeroCelsius && k <= 647.096) {
		return 0, fmt.Errorf("water does not boil at %g °C: the equation holds from 0 to 373.946 °C", float64(t))
	}
	th := k + n9/(k-n10)
	a := th*th + n1*th + n2
	b := n3*th*th + n4*th + n5
	c := n6*th*th + n7*th + n8
	return 1000 * math.Pow(2*c/(-b+math.Sqrt(b*b-4*a*c)), 4), nil
}

// boilingSlope is dTs/dp [K/kPa], the central difference of eq. 31 over a
// thousandth of the pressure, which is good to six digits.
func boilingSlope(kPa float64) float64 {
	h := kPa / 1000
	return (saturation((kPa+h)/1000) - saturation((kPa-h)/1000)) / (2 * h)
}
