package metrology_test

import (
	"math"
	"strconv"
	"strings"
	"testing"

	"lastgood/policy/metrology"
	"lastgood/policy/unit"
)

// inWords are the rows of thermometer_checks.csv that no function computes.
var inWords = map[string]string{
	"how often to check, how long to keep":                               "TC008 TC030 TC032 TC069",
	"fineness of a scale, which a tolerance is not":                      "TC009 TC029 TC033",
	"two units in one cell: TC001, TC002 and their like have them apart": "TC010 TC031 TC067",
	"response time: nothing here models lag":                             "TC015",
	"a limit of a product's incubation, not of an instrument":            "TC035",
	"sets no number": "TC036 TC037 TC055",
	"how to make an ice bath and how long to wait":                               "TC044 TC051",
	"one-sided against another instrument; a tolerance here has two equal sides": "TC034",
	"an ice point as laboratories make it; TC053 bounds the plant's":             "TC052 TC054",
	"a fixed point that no check here uses":                                      "TC056",
	"names classes that TC062 to TC066 hold":                                     "TC068",
	"a duty to look back, which the whole package is; TC082 has the one figure":  "TC083 TC084 TC085 TC086 TC087",
}

func TestEveryRowOfThermometerChecks(t *testing.T) {
	t.Parallel()
	excused := map[string]string{}
	for reason, ids := range inWords {
		for id := range strings.FieldsSeq(ids) {
			excused[id] = reason
		}
	}
	for _, r := range published(t, "thermometer_checks.csv") {
		_, isExcused := excused[r["id"]]
		test := rowsOfChecks[r["id"]]
		if isTolerance(r) {
			test = keepsTolerance
		}
		if (test != nil) == isExcused {
			t.Errorf("%s %s: tested %v, excused %v", r["id"], r["quantity"], test != nil, isExcused)
		}
		if test != nil {
			test(t, r)
		}
		delete(excused, r["id"])
	}
	if len(excused) > 0 {
		t.Errorf("excused and not in the file: %v", excused)
	}
}

// rowsOfChecks are the tests of single rows.
var rowsOfChecks = map[string]func(*testing.T, map[string]string){
	"TC040": threeIceReadings,
	"TC047": wrongSign,
	"TC048": rightSign,
	"TC049": boilingCorrection,
	"TC050": iceByDefinition,
	"TC053": routineIce,
	"TC057": weatherAndAltitude,
	"TC058": echelons,
	"TC059": onePointOnly,
	"TC060": onePointOnly,
	"TC061": onePointOnly,
	"TC082": sinceTheLastGoodCheck,
}

// isTolerance reports whether a row gives the same tolerance on both sides.
func isTolerance(r map[string]string) bool {
	lo, err := strconv.ParseFloat(r["tolerance_minus"], 64)
	hi, err2 := strconv.ParseFloat(r["tolerance_plus"], 64)
	return err == nil && err2 == nil && lo == -hi && hi > 0 && r["id"] != "TC053"
}

// keepsTolerance: an error of exactly the tolerance passes and a millionth of a
// degree more fails, to either side, in the row's own unit and written in the
// other one.
func keepsTolerance(t *testing.T, r map[string]string) {
	size, err := unit.ParseMicro(strings.TrimPrefix(r["tolerance_plus"], "+"))
	if err != nil {
		t.Fatal(err)
	}
	scale := map[string]unit.Scale{"degC": unit.CelsiusScale, "degF": unit.FahrenheitScale}[r["unit"]]
	truth := unit.Micro(0)
	if r["kind"] == "check_tolerance" && r["value"] != "" { // the check's own point: 0, 32, 100
		if truth, err = unit.ParseMicro(r["value"]); err != nil {
			t.Fatal(err)
		}
	}
	tolerance := unit.Diff{Value: size, Scale: scale}
	for _, sign := range []unit.Micro{1, -1} {
		for extra, want := range map[unit.Micro]metrology.Verdict{0: metrology.Pass, 1: metrology.Fail} {
			p := metrology.NewPoint("comparison", metrology.Reference{True: truth, Scale: scale}, ptr(truth+sign*(size+extra)), nil, nil)
			if got := metrology.JudgePoint(p, tolerance, metrology.DefaultRule()).Found; got != want {
				t.Errorf("%s: an error of %s %s against %s: %s", r["id"], sign*(size+extra), scale, tolerance, got)
			}
		}
	}
}

// shows is a point of melting ice, or of boiling water, that showed a value.
func shows(s unit.Scale, truth, found float64) metrology.Point {
	return metrology.NewPoint("ice", metrology.Reference{True: micro(truth), Scale: s}, ptr(micro(found)), nil, nil)
}

// corrected is what a reading means: less the error that the point showed.
func corrected(t *testing.T, p metrology.Point, reading float64) float64 {
	t.Helper()
	e, ok := p.FoundError()
	if !ok {
		t.Fatal("no error")
	}
	return reading - e.Degrees()
}

func threeIceReadings(t *testing.T, r map[string]string) {
	// Off 0 by more than 1 °C at any of three readings: service, that is, fail.
	for worstOf, want := range map[float64]metrology.Verdict{0.9: metrology.Pass, 1.1: metrology.Fail} {
		c := check(0, at(0, 0.2, 0), at(0, worstOf, 0), at(0, 0.3, 0))
		if got := c.Judge(celsius(1), metrology.DefaultRule()).Found; got != want {
			t.Errorf("%s: three readings, one %g off: %s", r["id"], worstOf, got)
		}
	}
}

func wrongSign(t *testing.T, r map[string]string) {
	// The source adds 1 °F where ice reads 33 °F. It reads high: what shows 161 is 160.
	if got := corrected(t, shows(unit.FahrenheitScale, 32, 33), 161); got != 160 {
		t.Errorf("%s: 161 °F is %g °F", r["id"], got)
	}
}

func rightSign(t *testing.T, r map[string]string) {
	for shown, want := range map[float64]float64{2.5: 70, -3: 75.5} { // of 72.5 °C indicated
		if got := corrected(t, shows(unit.CelsiusScale, 0, shown), 72.5); got != want {
			t.Errorf("%s: reads %g in ice: 72.5 °C is %g °C", r["id"], shown, got)
		}
	}
}

func boilingCorrection(t *testing.T, r map[string]string) {
	if got := corrected(t, shows(unit.FahrenheitScale, 212, 214), 165); got != 163 {
		t.Errorf("%s: 165 °F is %g °F", r["id"], got)
	}
}

func iceByDefinition(t *testing.T, r map[string]string) {
	if got := metrology.IcePoint(unit.CelsiusScale, nil).True; got != micro(number(t, r["value"])) {
		t.Errorf("%s: ice is at %s", r["id"], got)
	}
}

func routineIce(t *testing.T, r map[string]string) {
	// A plant's bath is no better than a laboratory's routine one.
	if got := metrology.IcePoint(unit.CelsiusScale, nil).U; float64(got) < number(t, r["value"]) {
		t.Errorf("%s: u = %g K", r["id"], got)
	}
}

func weatherAndAltitude(t *testing.T, r map[string]string) {
	// "weather alone more than 1 °C" from end to end; the 0.28 °C per 100 m of the
	// same row is contradicted with boiling_point.csv BP0267.
	ref, err := metrology.BoilingPoint(unit.CelsiusScale, nil, 0, nil)
	if err != nil {
		t.Fatal(err)
	}
	if span := 2 * math.Sqrt(3) * float64(ref.Budget[0].U); span <= 1 {
		t.Errorf("%s: the weather spans %.2f K", r["id"], span)
	}
	if got := boils(t, 0) - boils(t, geometric(100)); math.Abs(got-0.28) < 0.03 {
		t.Errorf("%s: %.3f K per 100 m agrees after all", r["id"], got)
	}
}

func echelons(t *testing.T, r map[string]string) {
	// What nobody stated is taken as the upper end of echelon IV.
	ref, err := metrology.Compared(unit.CelsiusScale, 0, nil, nil)
	if err != nil || 2*ref.U != 1.0 || !strings.Contains(r["value"], "IV >0.20-1.0") {
		t.Errorf("%s: U = %g K, %v", r["id"], 2*ref.U, err)
	}
}

func onePointOnly(t *testing.T, r map[string]string) {
	// 0.25 °C seen in ice is 0.75 °C or 7 °C at 550 °C: an ice point says nothing
	// there, and nothing at a cook step.
	f := facts(check(0, shown(0, 0, 0)), check(hour, shown(0, 0.25, 0)))
	f.Tolerance = celsius(0.2)
	d := doubt(t, f)
	if b := known(t, d, hour, 0); !near(b.Found, 0.25) {
		t.Errorf("%s: at the point: %+v", r["id"], b)
	}
	for _, x := range []unit.Celsius{74, 550} {
		if _, s := d.At(hour, x); s != metrology.Unknown {
			t.Errorf("%s: an ice point says something at %g °C", r["id"], float64(x))
		}
	}
}

func sinceTheLastGoodCheck(t *testing.T, r map[string]string) {
	d := doubt(t, facts(check(0, shown(70, 0, 0)), check(5*hour, shown(70, 0, 0)), check(10*hour, shown(70, 2, 0))))
	if after, _, good := d.Window(); after != 5*hour || good != 1 {
		t.Errorf("%s: in doubt since %d h, check %d", r["id"], after/hour, good)
	}
}
