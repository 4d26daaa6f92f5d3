package main

import (
	"fmt"
	"strconv"
	"strings"

	"lastgood/api"
	"lastgood/api/exchange"
)

// printDrill prints a drill as assess prints the thing itself, and says first and
// last that it is none.
func printDrill(g *globals, d exchange.DrillResult) error {
	p := &printer{w: g.out, gravest: gravest(exchange.Result{Deviations: d.Deviations})}
	p.line("*** %s ***", d.Drill)
	t := d.Totals
	p.line("\n%d instruments in doubt, %d readings looked at, in %.1f s.", t.Instruments, t.Readings, t.TookSeconds)
	p.line("%d lots in doubt: %d missed, %d unknown, %d indeterminate, %d met after correction, %d without a reading in doubt.",
		t.Lots, t.Verdicts.Missed, t.Verdicts.Unknown, t.Verdicts.Indeterminate, t.Verdicts.Met, t.Verdicts.None)
	p.line("Still in control: %s.", stock(t.InControl))
	p.line("Shipped: %s, in %d shipments to %d consignees%s.", stock(t.Shipped), t.Shipments, len(t.Consignees), inBrackets(t.Consignees))
	for _, dev := range d.Deviations {
		p.deviation(dev)
	}
	p.line("\n%s\n*** %s ***", d.Caution, d.Drill)
	return p.err
}

// stock says an amount in words: 4 lots, 285.5 kg and 1 of unknown quantity.
func stock(s exchange.StockResult) string {
	parts := []string{fmt.Sprintf("%d lots", s.Lots)}
	for _, q := range s.Quantities {
		parts = append(parts, q.Quantity+" "+q.QuantityUnit)
	}
	if s.Unknown > 0 {
		parts = append(parts, fmt.Sprintf("%d of unknown quantity", s.Unknown))
	}
	return strings.Join(parts, ", ")
}

func inBrackets(names []string) string {
	if len(names) == 0 {
		return ""
	}
	return " (" + strings.Join(names, ", ") + ")"
}

// printIntervals prints what each check interval would mean.
func printIntervals(g *globals, b api.IntervalsBody) error {
	p := &printer{w: g.out}
	p.line("%s: what one failed check would put in doubt, by how often it is checked", b.Instrument)
	if b.Record.From == nil {
		p.line("\nIt was never read.")
	} else {
		p.line("\nCounted from %s to %s: %d readings, %d lots (%d of unknown quantity).", short(*b.Record.From), short(*b.Record.To),
			b.Record.Readings, b.Record.Lots, b.Record.Unweighed)
	}
	p.line("Checks: %d of %d intervals ended with it within tolerance.", b.History.Within, b.History.Intervals)
	var rows [][]string
	for _, c := range b.Candidates {
		days := strconv.FormatFloat(c.Days, 'f', -1, 64)
		switch {
		case c.Days == b.PresentDays && b.Stated:
			days += " (now)"
		case c.Days == b.PresentDays:
			days += " (as done)"
		}
		rows = append(rows, append([]string{days, num(&c.ChecksPerYear, 1)}, candidate(c)...))
	}
	p.line("")
	p.table("days|checks a year|lots, mean|lots, worst|quantity, mean|quantity, worst|within at the end|at least|failures a year", rows)
	p.line("\nSuggested: %s\n\n%s", b.Suggestion.Reason, b.Caution)
	return p.err
}

func candidate(c api.IntervalBody) []string {
	mean, worst := "record too short", "–"
	var means, worsts []string
	if c.Lots != nil {
		mean, worst = num(&c.Lots.Mean, 1), num(&c.Lots.Worst, 0)
	}
	for _, q := range c.Quantities {
		means = append(means, num(&q.Mean, 0)+" "+q.QuantityUnit)
		worsts = append(worsts, num(&q.Worst, 0)+" "+q.QuantityUnit)
	}
	return []string{mean, worst, orDash(means), orDash(worsts), num(c.Reliability, 3), num(&c.ReliabilityLow, 3), num(c.FailuresPerYear, 2)}
}

func orDash(words []string) string {
	if len(words) == 0 {
		return "–"
	}
	return strings.Join(words, ", ")
}
