package demo

import (
	"strconv"
	"time"
)

// point is one point of a check, in the unit of the instrument.
type point struct {
	kind       string // ice, boiling, comparison
	nominal    float64
	err        float64 // as found; positive reads high
	left       float64 // error as left
	adjusted   bool
	pressure   float64 // kPa, at a boiling point
	resolution int     // decimals of the display
}

// check appends one check, a row for each point.
func (p *plant) check(instrument, unit string, when time.Time, points []point) {
	for _, pt := range points {
		row := make([]string, 14)
		row[0], row[1], row[2], row[3] = instrument, stamp(when), pt.kind, fixed(pt.nominal, 1)
		if pt.kind == "comparison" {
			row[4], row[5] = reference, fixed(pt.nominal, 2)
		}
		if pt.pressure > 0 {
			row[7] = fixed(pt.pressure, 1)
		}
		row[8] = fixed(pt.nominal+pt.err, pt.resolution)
		if pt.adjusted {
			row[9] = fixed(pt.nominal+pt.left, pt.resolution)
		}
		row[10], row[11], row[12] = unit, "tech-1", "tech-2"
		p.checks = append(p.checks, row)
	}
}

func fixed(v float64, decimals int) string { return strconv.FormatFloat(v, 'f', decimals, 64) }

// boilingAt is the boiling point of water [°C] at a station pressure [kPa] from
// 91 to 96, linear between the computed rows BP0069, BP0073 and BP0079 of
// published/metrology/boiling_point.csv (IAPWS-IF97, region 4), which is within
// 5 mK there.
func boilingAt(kPa float64) float64 {
	if kPa < 93 {
		return 96.99070 + (kPa-91)/(93-91)*(97.58981-96.99070)
	}
	return 97.58981 + (kPa-93)/(96-93)*(98.46875-97.58981)
}

func fahrenheit(celsius float64) float64 { return celsius*9/5 + 32 }

// checkProbes checks the hand-held probes on Mondays before the first batch: in
// ice, in the dry well at the cook limit, in boiling water.
func (p *plant) checkProbes() {
	rng := random(seedChecks)
	small := func() float64 { return 0.6*rng.Float64() - 0.3 }
	for day := 0; day <= days; day += 7 {
		kPa := tenth(92.6 + 1.6*rng.Float64())
		for i, probe := range []string{goodProbe, lostProbe, failedProbe, "HP-04", spareProbe} {
			ice, cook, boil := small(), small(), small() // drawn for all, so that one probe does not move the others
			if !inUse(probe, day) {
				continue
			}
			if probe == failedProbe {
				ice, cook, boil = failing(day, ice, cook, boil)
			}
			p.check(probe, "F", at(day, 5, 30+5*i), probePoints(ice, cook, boil, kPa))
		}
	}
	p.check(spareProbe, "F", at(probeLostDay, 15, 0), probePoints(0.1, 0.2, 0.1, 93.4))
	lost := make([]string, 14)
	lost[0], lost[1], lost[11], lost[12], lost[13] = lostProbe, stamp(probeLost), "tech-1", "tech-2", "unusable"
	p.checks = append(p.checks, lost)
}

func probePoints(ice, cook, boil, kPa float64) []point {
	return []point{
		{kind: "ice", nominal: 32, err: ice, resolution: 1},
		{kind: "comparison", nominal: 165, err: cook, resolution: 1},
		{kind: "boiling", nominal: fahrenheit(boilingAt(kPa)), err: boil, pressure: kPa, resolution: 1},
	}
}

// failing are the errors [°F] of the probe that reads high: good, nearly out of
// its tolerance of 1.0 at the last check it passed, and then well out of it.
func failing(day int, ice, cook, boil float64) (float64, float64, float64) {
	switch day {
	case lastGoodProbes:
		return 0.3, 0.8, 0.8
	case probeFailsDay:
		return 0.7, 2.9, 3.4
	}
	return ice, cook, boil
}

// inUse says whether a probe is there to be checked on a Monday.
func inUse(probe string, day int) bool {
	switch probe {
	case lostProbe:
		return day < probeLostDay
	case failedProbe:
		return day <= probeFailsDay
	case spareProbe:
		return day > probeLostDay
	}
	return true
}
