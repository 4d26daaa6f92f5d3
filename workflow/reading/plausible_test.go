package reading

import (
	"strings"
	"testing"

	"pgregory.net/rapid"

	"lastgood/policy/unit"
	"lastgood/workflow/instrument"
)

func degrees(v float64) *unit.Micro {
	m := unit.FromFloat(v, unit.Colder)
	return &m
}

// A probe from -40 to 200 °C (common practice); cook at 71 °C and chill at 5 °C,
// both by single readings; boil, a record that passes through everything.
var (
	probe  = instrument.Stored{ID: 1, Code: "P-1", Unit: "C", RangeLow: degrees(-40), RangeHigh: degrees(200)}
	limits = Limits{"cook": {71}, "chill": {5}, "boil": nil}
)

// doubtOf is the rule by which a reading is not believed; empty: it is.
func doubtOf(t interface{ Fatal(...any) }, in instrument.Stored, r Reading) (rule, reason string) {
	r.Instrument = in.Code
	odd, err := identify(make([]row, 1), []Reading{r}, map[string]instrument.Stored{in.Code: in}, limits, newNames(), newNames())
	if err != nil {
		t.Fatal(err)
	}
	if odd[0] == nil {
		return "", ""
	}
	return odd[0].Rule, odd[0].Reason
}

func TestPlausible(t *testing.T) {
	t.Parallel()
	unbounded := instrument.Stored{ID: 2, Code: "P-2", Unit: "C"}
	for name, c := range map[string]struct {
		in    instrument.Stored
		value float64
		scale unit.Scale
		limit string
		rule  string
		says  []string // both readings of the number, and what makes it odd
	}{
		"71.2 °C sent as °F":                         {probe, 71.2, 'F', "cook", "unit-mix-up", []string{"71.2 F is 21.8 °C", "71.2 C would be 71.2 °C", "cook"}}, // design notes on the procedure, X19
		"the same without a range":                   {unbounded, 71.2, 'F', "cook", "unit-mix-up", nil},
		"160 °F sent as °C":                          {probe, 160, 'C', "cook", "unit-mix-up", []string{"160.0 C", "160.0 F would be 71.1 °C"}},
		"150 °F, which misses, sent as °C":           {probe, 150, 'C', "cook", "unit-mix-up", nil},
		"3 °C sent as °F":                            {probe, 3, 'F', "chill", "unit-mix-up", nil},
		"38 °F sent as °C":                           {probe, 38, 'C', "chill", "unit-mix-up", nil},
		"344 K sent as °C":                           {unbounded, 344, 'C', "cook", "unit-mix-up", []string{"344.0 K would be 70.8 °C"}},
		"344 K sent as °C, out of range":             {probe, 344, 'C', "cook", "outside-range", []string{"344.0 C", "344.0 K would not", "P-1"}},
		"an open thermocouple":                       {probe, 850, 'C', "cook", "outside-range", []string{"850.0 C lies outside what P-1 can show"}},
		"out of range, for no limit":                 {probe, 212, 'C', "", "outside-range", []string{"212.0 F would not"}},
		"at the end of the range":                    {probe, 200, 'C', "", "", nil},
		"at the end of the range in another unit":    {probe, 392, 'F', "", "", nil},
		"beyond the end of the range":                {probe, 392.1, 'F', "", "outside-range", nil},
		"below the range":                            {probe, -40.1, 'F', "", "outside-range", nil},
		"as it should be":                            {probe, 74.2, 'C', "cook", "", nil},
		"as it should be in the limit's other unit":  {probe, 165.2, 'F', "cook", "", nil},
		"a miss that no other unit explains":         {probe, 20, 'C', "cook", "", nil},
		"a miss by little":                           {probe, 60, 'C', "cook", "", nil},
		"a warm room":                                {probe, 18, 'C', "chill", "", nil},
		"71.2 °F in a record that begins cold":       {probe, 71.2, 'F', "boil", "", nil},
		"71.2 °F for nobody knows what":              {probe, 71.2, 'F', "", "", nil},
		"where both scales nearly agree, -37 °F":     {unbounded, -37, 'F', "chill", "", nil},
		"no range and no limit: anything":            {unbounded, 99999, 'C', "", "", nil},
		"far away in every unit":                     {unbounded, 5000, 'C', "cook", "", nil},
		"kelvin as kelvin":                           {probe, 344.2, 'K', "cook", "", nil},
		"minus 18 °C in °F under a limit of chilled": {probe, -0.4, 'F', "chill", "unit-mix-up", nil}, // a freezer read for a chill limit: a person says so
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			rule, reason := doubtOf(t, c.in, Reading{Value: c.value, Decimals: 1, Unit: c.scale, Limit: c.limit})
			if rule != c.rule {
				t.Errorf("rule %q (%s), want %q", rule, reason, c.rule)
			}
			for _, s := range c.says {
				if !strings.Contains(reason, s) {
					t.Errorf("%q does not say %q", reason, s)
				}
			}
		})
	}
}

// A reading near its limit and in its instrument's range is believed, whatever
// its unit; one out of the range never is.
func TestPlausibleIsWhatIsNear(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		s := rapid.SampledFrom(scales[:]).Draw(t, "scale")
		name := rapid.SampledFrom([]string{"cook", "chill"}).Draw(t, "limit")
		at := limits[name][0] + unit.Celsius(rapid.Float64Range(-nearBy+0.001, nearBy-0.001).Draw(t, "off"))
		if rule, why := doubtOf(t, probe, Reading{Value: on(at, s), Decimals: 1, Unit: s, Limit: name}); rule != "" {
			t.Fatalf("%v °C for %s is not believed: %s", at, name, why)
		}
		out := unit.Celsius(rapid.OneOf(rapid.Float64Range(-200, -40.001), rapid.Float64Range(200.001, 3000)).Draw(t, "out"))
		if rule, _ := doubtOf(t, probe, Reading{Value: on(out, s), Decimals: 1, Unit: s, Limit: name}); rule != "outside-range" {
			t.Fatalf("%v °C is out of range and %q", out, rule)
		}
	})
}
