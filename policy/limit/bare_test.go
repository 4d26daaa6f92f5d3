package limit

import (
	"math"

	"lastgood/policy/series"
)

// bare are the formulas of the kinds as plain loops over a record without holes,
// with the numbers of the limits that are benched.
var bare = map[string]func([]series.Sample) float64{
	"at_least": func(s []series.Sample) float64 {
		low := s[0].T
		for i := range s {
			low = min(low, s[i].T)
		}
		return float64(low)
	},
	"at_most": func(s []series.Sample) float64 {
		high := s[0].T
		for i := range s {
			high = max(high, s[i].T)
		}
		return float64(high)
	},
	"allow": func(s []series.Sample) float64 {
		var t int64
		for i := 1; i < len(s); i++ {
			if s[i].T > 5_000_000 || s[i-1].T > 5_000_000 {
				t += s[i].At - s[i-1].At
			}
		}
		return float64(t)
	},
	"hold":           func(s []series.Sample) float64 { return bareHold(s, 72_000_000) },
	"lethality":      func(s []series.Sample) float64 { return bareHeat(s, 121_100_000, 10, math.Inf(-1)) },
	"lethality_from": func(s []series.Sample) float64 { return bareHeat(s, 121_100_000, 10, 120_000_000) },
	"log_reduction":  func(s []series.Sample) float64 { return bareHeat(s, 70_000_000, 6.5, math.Inf(-1)) / 0.15 },
	"dwell_table": func(s []series.Sample) float64 {
		share := 0.0
		for row, required := range map[int64]float64{72_000_000: 6720e6, 73_000_000: 720e6, 74_000_000: 70e6, 75_000_000: 10e6} {
			share = max(share, bareHold(s, row)/required)
		}
		return share
	},
	"exposure": func(s []series.Sample) float64 {
		var in [2]int64
		for i := 1; i < len(s); i++ {
			t, dt := max(s[i].T, s[i-1].T), s[i].At-s[i-1].At
			if t >= 10_000_000 {
				in[0] += dt
			}
			if t >= 21_100_000 {
				in[1] += dt
			}
		}
		return float64(in[0] + in[1])
	},
	"cooling": func(s []series.Sample) float64 {
		return bareClock(s, 57_000_000, 21_000_000) + bareClock(s, 57_000_000, 5_000_000)
	},
}

func bareHold(s []series.Sample, least int64) float64 {
	var longest, first int64
	running := false
	for i := range s {
		if int64(s[i].T) < least {
			running = false
			continue
		}
		if !running {
			first, running = s[i].At, true
		}
		longest = max(longest, s[i].At-first)
	}
	return float64(longest)
}

// bareHeat is the closed form of the lethality of straight lines; with a floor
// only whole intervals above it.
func bareHeat(s []series.Sample, ref, z, from float64) float64 {
	k := math.Ln10 / (z * 1e6)
	sum, x0, l0 := 0.0, 0.0, 0.0
	for i := range s {
		x := (float64(s[i].T) - ref) * k
		l := math.Exp(x)
		if i > 0 && float64(s[i].T) >= from && float64(s[i-1].T) >= from {
			mean := (l + l0) / 2
			if d := x - x0; math.Abs(d) > 1e-9 {
				mean = (l - l0) / d
			}
			sum += mean * float64(s[i].At-s[i-1].At)
		}
		x0, l0 = x, l
	}
	return sum / 6e7
}

// bareClock is one pass: the last reading at or above one temperature before the
// first below it, and the last at or above the other.
func bareClock(s []series.Sample, from, to int64) float64 {
	var began, warm int64
	started := false
	for i := range s {
		t := int64(s[i].T)
		if !started {
			if t >= from {
				began = s[i].At
			} else {
				started = true
			}
		}
		if t >= to {
			warm = s[i].At
		}
	}
	return float64(warm - began)
}
