package api

import (
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"lastgood/api/print"
	"lastgood/policy/unit"
	"lastgood/workflow"
	"lastgood/workflow/instrument"
)

func degreesOf(v float64) unit.Micro { return unit.FromFloat(v, unit.Colder) }

// labelled is an instrument that passed on the evening of the 3rd in UTC, which
// is the 4th in Auckland.
func labelled(t *testing.T) workflow.Label {
	t.Helper()
	zone, err := time.LoadLocation("Pacific/Auckland")
	if err != nil {
		t.Fatal(err)
	}
	at, on := march(3, 20), time.Date(2025, 3, 11, 0, 0, 0, 0, zone)
	return workflow.Label{Instrument: instrument.Registered{Instrument: instrument.Instrument{Code: "T-114 é", Unit: unit.CelsiusScale}}, Zone: zone,
		CheckedAt: &at, VerifiedBy: "tech-2", Due: workflow.Due{On: &on},
		Errors: []workflow.LabelError{{At: 0, Error: degreesOf(-0.25)}, {At: degreesOf(75), Error: degreesOf(0.1)}}}
}

func TestLabelInWords(t *testing.T) {
	t.Parallel()
	l := labelled(t)
	want := print.Label{Number: "T-114 é", Code: "lastgood:instrument:T-114%20%C3%A9", At: march(3, 20),
		Lines: []string{"checked 2025-03-04", "verified by tech-2", "next check by 2025-03-11", "−0.25 °C at 0 °C", "+0.1 °C at 75 °C"}}
	if diff := cmp.Diff(want, labelOnPaper(l)); diff != "" {
		t.Error(diff)
	}
	l.WhyNot, l.VerifiedBy = "failed its check", ""
	l.Errors = append(l.Errors, workflow.LabelError{At: degreesOf(50), Error: degreesOf(3)}, workflow.LabelError{At: degreesOf(60), Error: degreesOf(-0.001)})
	want.Bad = "failed its check"
	want.Lines = []string{"checked 2025-03-04", "+3 °C at 50 °C", "−0.25 °C at 0 °C", "+0.1 °C at 75 °C", "the largest 3 of 4 errors"}
	if diff := cmp.Diff(want, labelOnPaper(l)); diff != "" {
		t.Error(diff)
	}
	l.CheckedAt, l.WhyNot = nil, "never checked"
	if got := labelOnPaper(l); len(got.Lines) != 0 || got.Bad != "never checked" {
		t.Errorf("%+v", got)
	}
}

func TestFormInWords(t *testing.T) {
	t.Parallel()
	l := labelled(t)
	until := march(28, 0)
	f := workflow.CheckForm{Instrument: l.Instrument, Zone: l.Zone, MadeAt: march(4, 0), Due: l.Due, Plant: "Tallow Mere Kitchens",
		Points: []workflow.FormPoint{
			{Kind: instrument.Ice, Scale: unit.CelsiusScale, Covers: []unit.Micro{degreesOf(5)}, LastGoodAt: l.CheckedAt},
			{Kind: instrument.Comparison, Scale: unit.CelsiusScale, Expected: degreesOf(71.111111)}},
		References: []workflow.FormReference{{Code: "R-1", Certificate: "C-1", ValidUntil: &until, To: degreesOf(100), Scale: unit.CelsiusScale, Reaches: []int{1}},
			{Code: "R-2", WhyNot: "it has no certificate"}}}
	p := formOnPaper(f)
	points := []print.FormPoint{
		{Title: "1  Melting ice: 0 °C", Notes: []string{"Last good here on 2025-03-04. Asked for because it is read at 5 °C."},
			Boxes: []string{"shows, as found (°C)", "shows, as left (°C)"}},
		{Title: "2  Beside a reference, at about 71.11 °C", Notes: []string{"Not yet good at any check."},
			Boxes: []string{"reference, its number", "reference shows (°C)", "shows, as found (°C)", "shows, as left (°C)"}}}
	if diff := cmp.Diff(points, p.Points); diff != "" {
		t.Error(diff)
	}
	lists := []print.FormList{{Title: "References that may be used", Lines: []string{"R-1: for point 2; certificate C-1, 0 °C to 100 °C, until 2025-03-28"}},
		{Title: "Not to be used", Lines: []string{"R-2: it has no certificate"}}}
	if diff := cmp.Diff(lists, p.Lists); diff != "" {
		t.Error(diff)
	}
	f.Points = f.Points[:1]
	if p = formOnPaper(f); len(p.Lists) != 0 {
		t.Errorf("no comparison, and references for it: %+v", p.Lists)
	}
	f.Due.OverdueDays, f.Due.Overdue = 1, true
	if p = formOnPaper(f); !cmp.Equal(p.Head[len(p.Head)-1], [2]string{"Due", "2025-03-11, one day ago"}) {
		t.Errorf("%v", p.Head)
	}
}
