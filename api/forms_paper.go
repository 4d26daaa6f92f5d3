package api

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"

	"lastgood/api/print"
	"lastgood/policy/unit"
	"lastgood/workflow"
	"lastgood/workflow/instrument"
)

// formOnPaper puts a check form into words for paper.
func formOnPaper(f workflow.CheckForm) print.Form {
	in := f.Instrument
	p := print.Form{Title: "Accuracy check of " + in.Code, Code: linkOf(in.Code), At: f.MadeAt,
		Head: [][2]string{{"Plant", f.Plant}}, Orders: orders(in.Adjustable),
		Sign: []string{"Checked by", "On, at (with time zone)", "Verified by (another person)"},
		Foot: fmt.Sprintf("%s · printed %s · for one check", in.Code, f.MadeAt.In(f.Zone).Format("2006-01-02 15:04 -07:00"))}
	if in.Description != "" {
		p.Head = append(p.Head, [2]string{"Instrument", in.Description})
	}
	p.Head = append(p.Head, [2]string{"Largest allowed error", "± " + degrees(in.Tolerance, in.Unit)})
	if in.Resolution != nil {
		p.Head = append(p.Head, [2]string{"Display step", degrees(*in.Resolution, in.Unit)})
	}
	if in.RangeLow != nil && in.RangeHigh != nil {
		p.Head = append(p.Head, [2]string{"Range", degrees(*in.RangeLow, in.Unit) + " to " + degrees(*in.RangeHigh, in.Unit)})
	}
	if due := dueInWords(f.Due); due != "" {
		p.Head = append(p.Head, [2]string{"Due", due})
	}
	for i, pt := range f.Points {
		p.Points = append(p.Points, pointOnPaper(i, pt, f.Zone))
	}
	p.Lists = append(p.Lists, referencesOnPaper(f)...)
	if len(f.Notes) > 0 {
		p.Lists = append(p.Lists, print.FormList{Title: "Note", Lines: f.Notes})
	}
	return p
}

func orders(adjustable bool) []string {
	out := []string{"Write down what it shows before anybody adjusts, mends or cleans it. Do not round.",
		"One try. What it showed stands, also if it is too far off; a second try is another check, with a form of its own."}
	if adjustable {
		return append(out, "If it was adjusted, go through the points again and write down what it shows as left.")
	}
	return out
}

func dueInWords(d workflow.Due) string {
	switch {
	case d.On == nil && d.Overdue:
		return "now: it was never found good"
	case d.On == nil:
		return ""
	case d.OverdueDays == 1:
		return d.On.Format(time.DateOnly) + ", one day ago"
	case d.Overdue:
		return fmt.Sprintf("%s, %d days ago", d.On.Format(time.DateOnly), d.OverdueDays)
	}
	return d.On.Format(time.DateOnly)
}

func pointOnPaper(i int, p workflow.FormPoint, zone *time.Location) print.FormPoint {
	u := sign(p.Scale)
	out := print.FormPoint{}
	switch p.Kind {
	case instrument.Ice:
		out.Title = fmt.Sprintf("%d  Melting ice: %s", i+1, degrees(p.Expected, p.Scale))
		out.Boxes = []string{"shows, as found (" + u + ")", "shows, as left (" + u + ")"}
	case instrument.Boiling:
		out.Title = fmt.Sprintf("%d  Boiling water: about %s here", i+1, degrees(p.Expected, p.Scale))
		out.Notes = append(out.Notes, p.Basis+". Write down the pressure at the site, not reduced to sea level, if you can read it.")
		out.Boxes = []string{"pressure (kPa)", "shows, as found (" + u + ")", "shows, as left (" + u + ")"}
	default:
		out.Title = fmt.Sprintf("%d  Beside a reference, at about %s", i+1, degrees(p.Expected, p.Scale))
		out.Boxes = []string{"reference, its number", "reference shows (" + u + ")", "shows, as found (" + u + ")", "shows, as left (" + u + ")"}
	}
	last := "Not yet good at any check"
	if p.LastGoodAt != nil {
		last = "Last good here on " + onDay(*p.LastGoodAt, zone)
	}
	if len(p.Covers) > 0 {
		last += ". Asked for because it is read at " + temperatures(p.Covers, p.Scale)
	}
	out.Notes = append(out.Notes, last+".")
	return out
}

func temperatures(list []unit.Micro, s unit.Scale) string {
	words := make([]string, len(list))
	for i, m := range list {
		words[i] = degrees(m, s)
	}
	return strings.Join(words, ", ")
}

// referencesOnPaper lists what may be used for the comparisons, and what must
// not.
func referencesOnPaper(f workflow.CheckForm) []print.FormList {
	if !slices.ContainsFunc(f.Points, func(p workflow.FormPoint) bool { return p.Kind == instrument.Comparison }) {
		return nil
	}
	may, mustNot := print.FormList{Title: "References that may be used"}, print.FormList{Title: "Not to be used"}
	for _, r := range f.References {
		switch {
		case r.WhyNot != "":
			mustNot.Lines = append(mustNot.Lines, r.Code+": "+r.WhyNot)
		case len(r.Reaches) > 0:
			may.Lines = append(may.Lines, referenceOnPaper(r, f.Zone))
		}
	}
	if len(may.Lines) == 0 {
		may.Lines = []string{"None of the plant's has a certificate that holds now and covers these points."}
	}
	if len(mustNot.Lines) == 0 {
		return []print.FormList{may}
	}
	return []print.FormList{may, mustNot}
}

func referenceOnPaper(r workflow.FormReference, zone *time.Location) string {
	var at []string
	for _, i := range r.Reaches {
		at = append(at, fmt.Sprint(i+1))
	}
	return fmt.Sprintf("%s: for point %s; certificate %s, %s to %s, until %s", r.Code, strings.Join(at, ", "), r.Certificate,
		degrees(r.From, r.Scale), degrees(r.To, r.Scale), onDay(*r.ValidUntil, zone))
}

// twoDecimals writes a number for people, with a minus sign that is one.
func twoDecimals(v float64) string {
	return strings.Replace(strconv.FormatFloat(round2(v), 'f', -1, 64), "-", "−", 1)
}

func round2(v float64) float64 { return math.Round(v*100)/100 + 0 } // never −0
