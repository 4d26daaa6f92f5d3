package demo

import (
	"math"
	"slices"
	"testing"
	"time"
)

// The bounds in these tests are the story's own invented errors, given room of
// 0.3 °F or 0.12 °C for the uncertainty of the checks. The engine's verdicts are
// tested where the engine is; here, that the story leaves no doubt about them.

// fate is what becomes of a lot, in kilograms.
type fate struct{ made, shipped, reworked float64 }

func fateOf(t *testing.T, lot string) fate {
	t.Helper()
	var f fate
	for _, r := range table(t, "lots") {
		if r["lot"] == lot {
			f.made = r.number(t, "quantity")
		}
	}
	for _, r := range table(t, "shipments") {
		if r["lot"] == lot {
			f.shipped += r.number(t, "quantity")
		}
	}
	for _, r := range table(t, "transformations") {
		if r["input_lot"] == lot {
			f.reworked += r.number(t, "input_quantity")
		}
	}
	return f
}

// coldestOf returns the lots that a probe read between two moments, in order,
// with the coldest reading of each.
func coldestOf(t *testing.T, probe string, after, before time.Time) (lots []string, coldest []float64) {
	t.Helper()
	for _, r := range table(t, "readings") {
		if r["instrument"] != probe {
			continue
		}
		if when := r.time(t, "taken_at"); !when.After(after) || !when.Before(before) {
			continue
		}
		v := r.number(t, "value")
		if n := len(lots); n > 0 && lots[n-1] == r["lot"] {
			coldest[n-1] = min(coldest[n-1], v)
			continue
		}
		lots, coldest = append(lots, r["lot"]), append(coldest, v)
	}
	return lots, coldest
}

func TestProbeReadsHighAtTheCook(t *testing.T) {
	t.Parallel()
	const limit, old, found, room = 165, 0.8, 2.9, 0.3 // °F
	lots, coldest := coldestOf(t, failedProbe, at(lastGoodProbes, 5, 40), probeFails)
	var verdicts []string
	for _, c := range coldest {
		switch {
		case c-found-room >= limit:
			verdicts = append(verdicts, "met")
		case c-old+room < limit:
			verdicts = append(verdicts, "missed")
		case c-found+room < limit && c-old-room >= limit:
			verdicts = append(verdicts, "indeterminate")
		default:
			t.Errorf("coldest %v °F is too near to call", c)
		}
		if c < limit {
			t.Errorf("coldest %v °F missed as recorded: the story wants hidden misses", c)
		}
	}
	want := []string{"met", "met", "indeterminate", "met", "missed", "met", "indeterminate", "met", "met"}
	if !slices.Equal(verdicts, want) {
		t.Fatalf("verdicts %v, want %v", verdicts, want)
	}
	for lot, want := range map[string]fate{
		lots[shippedLot]:  {480, 480, 0},
		lots[missedLot]:   {480, 80, 0},
		lots[reworkedLot]: {480, 0, 60},
		"RW-0829-1":       {400, 0, 400},
		"PK-0829-1":       {240, 240, 0},
		"PK-0829-2":       {160, 60, 0},
	} {
		if got := fateOf(t, lot); got != want {
			t.Errorf("%s: %+v, want %+v", lot, got, want)
		}
	}
}

func TestProbeIsLost(t *testing.T) {
	t.Parallel()
	lots, _ := coldestOf(t, lostProbe, at(lastGoodLostDay, 5, 35), end)
	if len(lots) != 4 {
		t.Fatalf("lots %v, want four since the last good check", lots)
	}
	for _, lot := range lots {
		if got := fateOf(t, lot); got.shipped != 0 {
			t.Errorf("%s: %v kg shipped, want all held", lot, got.shipped)
		}
	}
	if _, after := coldestOf(t, lostProbe, probeLost, end); len(after) != 0 {
		t.Errorf("%d lots read with a probe that was lost", len(after))
	}
}

// inRoom returns the lots that were in the failed logger's room at a time.
func inRoom(t *testing.T, when time.Time) []string {
	t.Helper()
	var out []string
	for _, r := range table(t, "stays") {
		if r["location"] != failedRoom || r.time(t, "from").After(when) {
			continue
		}
		if _, left := r["to"]; !left || r.time(t, "to").After(when) {
			out = append(out, r["lot"])
		}
	}
	return out
}

func TestLoggerReadsLowInTheColdRoom(t *testing.T) {
	t.Parallel()
	const limit, old, found, room = 5, -0.2, -1.3, 0.12 // °C
	hidden, doubtful := 0, 0
	for _, r := range table(t, "readings") {
		if r["instrument"] != failedLogger {
			continue
		}
		v := r.number(t, "value")
		switch when := r.time(t, "taken_at"); {
		case v > limit:
			t.Fatalf("%v °C at %v missed as recorded", v, when)
		case within(when, at(warmNightDay, 22, 0), 50*time.Minute) && v-old-room >= limit:
			hidden++
		case within(when, at(warmDoorDay, 13, 0), 90*time.Minute) && v-old+room < limit && v-found-room > limit:
			doubtful++
		case v-found+room >= limit:
			t.Fatalf("%v °C at %v: only the two events may be in doubt", v, when)
		}
	}
	if hidden != 51 || doubtful != 91 { // minutes, both ends included
		t.Errorf("%d minutes surely above the limit, %d possibly; want 51 and 91", hidden, doubtful)
	}
	missed := inRoom(t, at(warmNightDay, 22, 20))
	if len(missed) < 5 {
		t.Errorf("lots in the room in the warm night: %v, want several", missed)
	}
	for _, lot := range missed {
		if got := fateOf(t, lot); got.shipped != 0 {
			t.Errorf("%s: %v kg shipped, want all held", lot, got.shipped)
		}
	}
	if n := len(inRoom(t, at(warmDoorDay, 14, 0))); n < 5 {
		t.Errorf("%d lots in the room with the door open, want several", n)
	}
}

// TestRecorderReadsLowAtTheRetort: hotter than recorded harms nobody, and it was
// adjusted after the as-found.
func TestRecorderReadsLowAtTheRetort(t *testing.T) {
	t.Parallel()
	worst := 0.0
	for _, r := range table(t, "checks") {
		if r["instrument"] != retortRec {
			continue
		}
		e := r.number(t, "found") - r.number(t, "nominal")
		worst = min(worst, e)
		if e < -0.5 && math.Abs(r.number(t, "left")-r.number(t, "nominal")) > 0.5 {
			t.Errorf("found %+.1f K and not adjusted", e)
		}
		if e > 0.5 {
			t.Errorf("found %+.1f K: not the harmless direction", e)
		}
	}
	if math.Abs(worst+0.9) > 1e-9 {
		t.Errorf("largest error %+.2f K, want −0.9", worst)
	}
}

// TestEverythingElsePasses: outside the story no check comes near its tolerance.
func TestEverythingElsePasses(t *testing.T) {
	t.Parallel()
	tolerance := map[string]float64{}
	for _, r := range table(t, "instruments") {
		tolerance[r["instrument"]] = r.number(t, "tolerance")
	}
	var failed []string
	for _, r := range table(t, "checks") {
		if r["outcome"] == "unusable" {
			failed = append(failed, r["instrument"])
			continue
		}
		want := r.number(t, "nominal")
		if r["point"] == "boiling" {
			want = fahrenheit(boilingAt(r.number(t, "pressure_kpa")))
		}
		if e := math.Abs(r.number(t, "found") - want); e > tolerance[r["instrument"]]-0.04 {
			failed = append(failed, r["instrument"])
		}
	}
	slices.Sort(failed)
	if got, want := slices.Compact(failed), []string{failedLogger, lostProbe, failedProbe, retortRec}; !slices.Equal(got, want) {
		t.Errorf("out of tolerance or lost: %v, want %v", got, want)
	}
}
