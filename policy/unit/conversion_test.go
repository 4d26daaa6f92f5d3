package unit

import (
	"math"
	"math/big"
	"strconv"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
)

// TestPublishedExact holds Convert and ConvertDiff to the exact fraction of
// every row, rounded both ways, and the float conversions to its decimal.
func TestPublishedExact(t *testing.T) {
	t.Parallel()
	for _, r := range conversions(t) {
		v, from, to, want := r.from(t), r.scale(t, "from_unit"), r.scale(t, "to_unit"), r.exact(t)
		for _, side := range []Rounding{Colder, Hotter} {
			if got := r.convert(v, from, to, side); got != rounded(want, side) {
				t.Errorf("%s (%s): %v %v is %v %v rounded %d, want %v", r["id"], r["source"], v, from, got, to, side, want)
			}
		}
		var got float64
		switch {
		case r["kind"] == "interval" && to == FahrenheitScale:
			got = KelvinToDiff(CelsiusDiff(v.Degrees()), to)
		case r["kind"] == "interval":
			got = float64(DiffToKelvin(v.Degrees(), from))
		case to == CelsiusScale:
			got = float64(ToCelsius(v, from))
		default: // there is no float conversion away from Celsius
			continue
		}
		decimal, err := strconv.ParseFloat(r["exact_decimal"], 64)
		if err != nil {
			t.Fatal(err)
		}
		if math.Abs(got-decimal) > 0.5e-9 { // the file has nine decimals
			t.Errorf("%s: computed as %.12f, want %s", r["id"], got, r["exact_decimal"])
		}
	}
}

// asPrinted are the published figures that are not the exact value rounded to
// the places that are printed, and what they are instead.
var asPrinted = map[string]string{
	"UC0018": "misprint: 60 °C is 140 °F, the row says 135 °F",
	"UC0022": "39.444 °C printed to the next half degree",
	"UC0024": "regulatory equivalence: divisions of 1 °F or 0.5 °C",
	"UC0028": "regulatory equivalence: 20 °F or 10 °C of chart",
	"UC0030": "regulatory equivalence: 0.5 °F or 0.25 °C of accuracy",
	"UC0039": "220 °F printed as 105 °C, a rounded specification",
	"UC0042": "regulatory equivalence: 3 °F or 1.5 °C of accuracy",
}

// TestPublishedFigures: a printed figure is the exact value to the printed
// places, except those listed above; the file agrees which they are.
func TestPublishedFigures(t *testing.T) {
	t.Parallel()
	off := map[string]bool{}
	for _, r := range conversions(t) {
		figure := r["published_value"]
		if figure == "" || figure == "computed" {
			continue
		}
		_, frac, _ := strings.Cut(figure, ".")
		half := new(big.Rat).SetFrac64(1, 2*int64(math.Pow10(len(frac))))
		to := r.scale(t, "to_unit")
		low := r.convert(r.from(t), r.scale(t, "from_unit"), to, Colder)
		high := r.convert(r.from(t), r.scale(t, "from_unit"), to, Hotter)
		least := rounded(new(big.Rat).Sub(rat(t, figure), half), Colder)
		most := rounded(new(big.Rat).Add(rat(t, figure), half), Hotter)
		agrees := least <= low && high <= most
		if agrees != (r["agrees_to_printed_digits"] == "yes") {
			t.Errorf("%s: %s against %v..%v: agrees is %v here and %q in the file", r["id"], figure, low, high, agrees, r["agrees_to_printed_digits"])
		}
		if !agrees {
			off[r["id"]] = true
		}
	}
	want := map[string]bool{}
	for id := range asPrinted {
		want[id] = true
	}
	if diff := cmp.Diff(want, off); diff != "" {
		t.Errorf("figures that are not the rounded value (-want +got):\n%s", diff)
	}
}

// TestPublishedRoundingIsNotOurs: a printed Celsius figure beside its Fahrenheit
// limit is looser or stricter than the limit (155 °F printed as 68 °C is
// looser), which only shows in the limit's own unit.
func TestPublishedRoundingIsNotOurs(t *testing.T) {
	t.Parallel()
	seen := map[string]int{}
	for _, r := range conversions(t) {
		effect := r["effect_of_published_rounding"]
		if effect == "" || r["id"] == "UC0053" { // printed to 1e-7 °C, finer than a millionth
			continue
		}
		from, to := r.scale(t, "from_unit"), r.scale(t, "to_unit")
		figure, source := r.convert(r.micro(t, "published_value"), to, from, Colder), r.from(t)
		got := "exact"
		switch maximum := r["safe_0p1_if_maximum_limit"] != ""; {
		case r["kind"] == "interval" && figure > source:
			got = "wider"
		case r["kind"] == "interval" && figure < source:
			got = "tighter"
		case figure < source && !maximum, figure > source && maximum:
			got = "LOOSER than source unit"
		case figure != source:
			got = "stricter than source unit"
		}
		if got != effect {
			t.Errorf("%s: %v %v printed as %s is %q, the file says %q", r["id"], source, from, r["published_value"], got, effect)
		}
		seen[got]++
	}
	if len(seen) != 5 {
		t.Errorf("the file no longer has an example of each effect: %v", seen)
	}
}

// TestSafeTenth: the tenth of a degree that the file gives for a minimum is the
// lowest that meets the source's limit, and for a maximum the highest.
func TestSafeTenth(t *testing.T) {
	t.Parallel()
	const tenth = PerDegree / 10
	seen := 0
	for _, r := range conversions(t) {
		from, to, limit := r.scale(t, "from_unit"), r.scale(t, "to_unit"), r.from(t)
		back := func(m Micro, side Rounding) Micro { return Convert(m, to, from, side) }
		if r["safe_0p1_if_minimum_limit"] != "" {
			seen++
			if m := r.micro(t, "safe_0p1_if_minimum_limit"); back(m, Colder) < limit || back(m-tenth, Colder) >= limit {
				t.Errorf("%s: %v %v is not the lowest tenth that meets a minimum of %v %v", r["id"], m, to, limit, from)
			}
		}
		if r["safe_0p1_if_maximum_limit"] != "" {
			seen++
			if m := r.micro(t, "safe_0p1_if_maximum_limit"); back(m, Hotter) > limit || back(m+tenth, Hotter) <= limit {
				t.Errorf("%s: %v %v is not the highest tenth that meets a maximum of %v %v", r["id"], m, to, limit, from)
			}
		}
	}
	if seen == 0 {
		t.Error("the file has no tenths any more")
	}
}

// TestFloatingPointAsCounted: ToCelsius computes (F − 32)·5/9 in floats, so that
// as many tenths miss the nearest float as UC0068 counted independently. Limits
// are therefore compared by Convert, which is exact.
func TestFloatingPointAsCounted(t *testing.T) {
	t.Parallel()
	missed := 0
	for tenths := range int64(3001) { // 0.0 to 300.0 °F, UC0068
		m := Micro(tenths) * PerDegree / 10
		nearest, _ := big.NewRat((tenths-320)*5, 90).Float64()
		if float64(ToCelsius(m, FahrenheitScale)) != nearest {
			missed++
		}
	}
	for _, r := range rows(t) {
		if r["id"] == counted && r["exact_decimal"] != strconv.Itoa(missed) {
			t.Errorf("%d tenths, want %s", missed, r["exact_decimal"])
		}
	}
}
