package main

import (
	"fmt"
	"io"
	"slices"
	"strconv"
	"strings"
	"text/tabwriter"
	"time"

	"lastgood/api/exchange"
	"lastgood/policy/limit"
)

// printTable prints a result for a QA lead: the worst deviation's answer first,
// in the order in which the questions are asked.
func printTable(w io.Writer, r exchange.Result) error {
	p := &printer{w: w}
	p.line("%s", r.Plant)
	if len(r.Deviations) == 0 {
		p.line("\nEvery check passed clearly. Nothing is in doubt.")
	}
	p.gravest = gravest(r)
	p.overview(r)
	for _, d := range r.Deviations {
		p.deviation(d)
	}
	p.line("\n%s", r.Caution)
	return p.err
}

// supposed is the state of what a drill supposes.
const supposed = "supposed"

type printer struct {
	w       io.Writer
	err     error
	gravest map[string]grave // by lot, over all deviations
}

// grave is the gravest that any deviation says of a lot.
type grave struct{ instrument, verdict, route string }

func gravest(r exchange.Result) map[string]grave {
	m := map[string]grave{}
	for _, d := range r.Deviations {
		for _, a := range d.Assessments {
			if old, there := m[a.Lot]; !there || limit.Verdict(old.verdict).LessGrave(limit.Verdict(a.Verdict)) {
				m[a.Lot] = grave{d.Instrument, a.Verdict, a.Route}
			}
		}
	}
	return m
}

// overview says, where there are several deviations, each lot once with the
// gravest that any of them says of it.
func (p *printer) overview(r exchange.Result) {
	if len(r.Deviations) < 2 {
		return
	}
	n := map[string]int{}
	for _, g := range p.gravest {
		n[g.verdict]++
	}
	p.line("\nOver %d deviations, each lot once with its gravest verdict: %d missed, %d unknown, %d indeterminate, %d met after correction.",
		len(r.Deviations), n["missed"], n["unknown"], n["indeterminate"], n["met"])
}

// route is what is proposed for a lot here, unless another deviation says
// something graver of it: no lot is released here that another block holds.
func (p *printer) route(a exchange.AssessmentResult) string {
	if g := p.gravest[a.Lot]; limit.Verdict(a.Verdict).LessGrave(limit.Verdict(g.verdict)) {
		return "see " + g.instrument + ": " + strings.ReplaceAll(g.route, "_", " ")
	}
	return strings.ReplaceAll(a.Route, "_", " ")
}

func (p *printer) line(format string, args ...any) {
	if p.err == nil {
		_, p.err = fmt.Fprintf(p.w, format+"\n", args...)
	}
}

// table prints rows in columns, indented.
func (p *printer) table(head string, rows [][]string) {
	t := tabwriter.NewWriter(p.w, 0, 0, 2, ' ', 0)
	fmt.Fprintln(t, "  "+strings.ReplaceAll(head, "|", "\t"))
	for _, r := range rows {
		fmt.Fprintln(t, "  "+strings.Join(r, "\t"))
	}
	if err := t.Flush(); p.err == nil {
		p.err = err
	}
}

func (p *printer) deviation(d exchange.DeviationResult) {
	p.line("\n=== %s: %s, %s ===", d.Instrument, d.OpenedBy, short(d.FailedAt))
	for _, e := range d.Error.Points {
		p.line("Found %+.2f K (%+.2f °F) at %.2f °C (%.2f °F), uncertainty %.2f K: %s",
			e.Found, e.Found*9/5, e.At, e.At*9/5+32, e.ExpandedUncertainty, e.Basis)
	}
	p.line("In doubt: readings after %s, until %s", orWords(d.Window.After, "it went into service, which nobody dated"), orWords(d.Window.Until, "now: it was not taken out of use"))
	for _, n := range d.Notes {
		p.line("Note: %s", n)
	}
	if d.Unmatched > 0 {
		p.line("Note: %d readings in doubt name no lot and fall in no lot's stay", d.Unmatched)
	}
	p.counts(d)
	p.shipped(d)
	p.assessments(d)
	p.holds(d)
}

// counts answers first what a QA lead asks first.
func (p *printer) counts(d exchange.DeviationResult) {
	n := map[string]int{}
	for _, a := range d.Assessments {
		n[a.Verdict]++
	}
	acknowledged := 0
	for _, h := range d.Holds {
		if h.Acknowledged {
			acknowledged++
		}
	}
	held := fmt.Sprintf("Held: %d lots, %d acknowledged.", len(d.Holds), acknowledged)
	if d.State == supposed {
		held = fmt.Sprintf("Would be held: %d lots.", len(d.Holds))
	}
	p.line("\n%s  Shipped: %d shipments, %d of them of lots not shown to have met their limit.", held, len(d.Shipped), len(notMet(d.Shipped)))
	p.line("Verdicts: %d missed, %d unknown, %d indeterminate, %d met after correction.", n["missed"], n["unknown"], n["indeterminate"], n["met"])
}

func (p *printer) shipped(d exchange.DeviationResult) {
	list := notMet(d.Shipped)
	if len(list) == 0 {
		return
	}
	p.line("\nShipped, not shown to have met its limit")
	var rows [][]string
	for _, s := range list {
		rows = append(rows, []string{s.Lot, because(s.Lot, s.BecauseOf), verdict(s.Verdict), s.Shipment, s.Consignee, amount(s.Quantity, s.QuantityUnit), short(s.ShippedAt)})
	}
	p.table("lot|because of|verdict|shipment|consignee|quantity|shipped", rows)
}

// notMet leaves out the shipments of lots that met their limits after
// correction.
func notMet(list []exchange.ShippedResult) []exchange.ShippedResult {
	return slices.DeleteFunc(slices.Clone(list), func(s exchange.ShippedResult) bool { return s.Verdict != nil && *s.Verdict == "met" })
}

func verdict(v *string) string {
	if v == nil {
		return "none: held wide"
	}
	return strings.ToUpper(*v)
}

func (p *printer) assessments(d exchange.DeviationResult) {
	if len(d.Assessments) == 0 {
		return
	}
	p.line("\nLots, worst first")
	list := slices.Clone(d.Assessments)
	slices.SortStableFunc(list, func(a, b exchange.AssessmentResult) int {
		if a.Level != b.Level {
			return b.Level - a.Level
		}
		return b.Score - a.Score
	})
	var rows [][]string
	for _, a := range list {
		name := "(no limit)"
		if a.Limit != nil {
			name = *a.Limit
		}
		m := scaleOf(a)
		rows = append(rows, []string{strconv.Itoa(a.Level), strconv.Itoa(a.Score), a.Lot, name, strings.ToUpper(a.Verdict), strconv.Itoa(a.Readings),
			m.value(a.Measure.Required), m.value(a.Measure.Recorded), m.value(a.Measure.Corrected), m.value(a.Measure.Worst),
			m.diff(a.Headroom), m.diff(a.WorstError), num(a.Probability, 2), p.route(a)})
	}
	p.table("level|score|lot|limit|verdict|readings|required|recorded|corrected|worst|headroom|worst error|p(missed)|route", rows)
	p.limits(list)
	p.otherRules(list)
	p.seconds(list)
	p.reasons(list)
}

// limits tells what each limit asks, and where a ready-made one comes from.
func (p *printer) limits(list []exchange.AssessmentResult) {
	var rows [][]string
	for _, a := range list {
		row := []string{orWords(a.Limit, "none"), a.LimitText}
		if a.LimitText != "" && !slices.ContainsFunc(rows, func(r []string) bool { return slices.Equal(r, row) }) {
			rows = append(rows, row)
		}
	}
	if len(rows) > 0 {
		p.line("\nLimits")
		p.table("limit|what it asks", rows)
	}
}

// seconds shows what second instruments say of the same lots.
func (p *printer) seconds(list []exchange.AssessmentResult) {
	var rows [][]string
	for _, a := range list {
		m := scaleOf(a)
		for _, w := range a.Seconds {
			says := orWords(w.Refused, "counted")
			if !w.Counted {
				says = "not counted: " + says
			}
			rows = append(rows, []string{a.Lot, orWords(a.Limit, "none"), w.Instrument, strings.ToUpper(w.Verdict), strconv.Itoa(w.Readings),
				m.value(w.Measure.Recorded), m.value(w.Measure.Worst), num(w.EN, 2), strings.ToUpper(a.OwnVerdict), says})
		}
	}
	if len(rows) > 0 {
		p.line("\nSecond instruments")
		p.table("lot|limit|instrument|by itself|readings|recorded|worst|E_n|the one in doubt|its word", rows)
	}
}

// otherRules shows the same measure by other published rules, and the parts that
// it is made of, beside the one that decided.
func (p *printer) otherRules(list []exchange.AssessmentResult) {
	var rows [][]string
	for _, a := range list {
		for _, r := range a.Rules {
			m := scale{r.Unit, a.LimitUnit == "F"}
			rows = append(rows, []string{a.Lot, a.Measure.Name, r.Rule, m.value(r.Recorded), m.value(r.Corrected), m.value(r.Worst)})
		}
	}
	if len(rows) > 0 {
		p.line("\nBy other rules, and part by part")
		p.table("lot|measure|rule|recorded|corrected|worst", rows)
	}
}

// whyOf are the reasons of an assessment, the level's where a later step counts
// among them.
func whyOf(a exchange.AssessmentResult) []string {
	why := slices.Clone(a.Reasons)
	if a.Quality != nil {
		why = append(why, *a.Quality)
	}
	if k := a.KillStep; k != nil {
		why = append(why, fmt.Sprintf("its hazard was cleared by the later step %s, met by %s after %s: whether that step was validated for it, a qualified person says",
			k.Limit, strings.Join(k.Lots, ", "), strings.Join(k.By, ", ")))
	}
	return why
}

// reasons says why, once for each sentence.
func (p *printer) reasons(list []exchange.AssessmentResult) {
	lots := map[string][]string{}
	var order []string
	for _, a := range list {
		for _, r := range whyOf(a) {
			if lots[r] == nil {
				order = append(order, r)
			}
			lots[r] = append(lots[r], a.Lot)
		}
	}
	if len(order) == 0 {
		return
	}
	p.line("\nWhy")
	for _, r := range order {
		who := lots[r]
		if len(who) > 6 {
			who = append(slices.Clone(who[:6]), fmt.Sprintf("and %d more", len(who)-6))
		}
		p.line("  %s: %s", strings.Join(who, ", "), r)
	}
}

func (p *printer) holds(d exchange.DeviationResult) {
	if len(d.Holds) == 0 {
		return
	}
	if d.State == supposed {
		p.line("\nWould be held")
	} else {
		p.line("\nHeld")
	}
	var rows [][]string
	for _, h := range d.Holds {
		place := "unknown place"
		if h.Location != nil {
			place = *h.Location
		}
		rows = append(rows, []string{h.Lot, because(h.Lot, h.BecauseOf), verdict(h.Verdict), amount(h.Quantity, h.QuantityUnit), place})
	}
	p.table("lot|because of|verdict|quantity|location", rows)
}

// scale is how a person at this limit reads its numbers: in the limit's own unit.
type scale struct {
	unit string // of the measure
	f    bool   // the limit is written in °F
}

func scaleOf(a exchange.AssessmentResult) scale {
	return scale{a.Measure.Unit, a.LimitUnit == "F"}
}

func (s scale) value(v *float64) string {
	switch {
	case v == nil:
		return "–"
	case s.unit == "s":
		return (time.Duration(*v*1e6) * time.Microsecond).String()
	case s.unit == "C" && s.f:
		return strconv.FormatFloat(*v*9/5+32, 'f', 2, 64) + " F"
	}
	return num(v, 2) + " " + s.unit
}

func (s scale) diff(v *float64) string {
	switch {
	case v == nil:
		return "–"
	case s.f:
		return strconv.FormatFloat(*v*9/5, 'f', 2, 64) + " F"
	}
	return num(v, 2) + " K"
}

func because(lot, of string) string {
	if lot == of {
		return "itself"
	}
	return of
}

func amount(q, unit *string) string {
	if q == nil || unit == nil {
		return "unknown quantity"
	}
	return *q + " " + *unit
}

func num(f *float64, decimals int) string {
	if f == nil {
		return "–"
	}
	return strconv.FormatFloat(*f, 'f', decimals, 64)
}

func orWords(s *string, words string) string {
	if s == nil {
		return words
	}
	return short(*s)
}

// short drops the seconds of a time of the exchange format and keeps the offset.
func short(s string) string {
	t, err := time.Parse(time.RFC3339Nano, s)
	if err != nil {
		return s
	}
	if t.Second() != 0 || t.Nanosecond() != 0 {
		return t.Format("2006-01-02 15:04:05 -07:00")
	}
	return t.Format("2006-01-02 15:04 -07:00")
}
