package api

import (
	"fmt"
	"strings"
	"time"

	"lastgood/api/exchange"
	"lastgood/api/packet"
	"lastgood/api/print"
	"lastgood/policy/limit"
	"lastgood/workflow"
	"lastgood/workflow/correct"
	"lastgood/workflow/decision"
	"lastgood/workflow/signoff"
)

// mostOpened bounds what the opening pages show of portions: the sections behind
// them have all.
const mostOpened = 30

// opening is what a reader is told first: what failed, what was found, who decided
// what and when, and what came of it.
type opening struct {
	p      workflow.Packet
	redact *packet.Redactor
}

func (o opening) name(s string) string {
	if o.redact != nil && s != "" {
		return o.redact.Token(s)
	}
	return s
}

func (o opening) when(t *time.Time, none string) string {
	if t == nil {
		return none
	}
	return o.p.When(*t)
}

func (o opening) head() [][2]string {
	run := o.p.Run
	window := "after " + o.when(run.After, "the instrument was first used") + " until " + o.when(run.Until, "now: it is still in use")
	return [][2]string{{"What failed", run.Instrument + ": " + run.OpenedBy}, {"Failed at", o.p.When(run.FailedAt)},
		{"Last good at", o.when(run.LastGoodAt, "no check was ever good")}, {"In doubt", window}, {"Error", o.error()},
		{"State", words(string(o.p.Deviation.State))}, {"Trace run", fmt.Sprintf("%d, under policy version %d", run.Number, run.PolicyVersion)}, {"Caution", exchange.Caution}}
}

// error is what the failed check found, in the degrees of the limits where they
// are all written in one scale.
func (o opening) error() string {
	scale := "C"
	for i, a := range o.p.Run.Assessments {
		if i > 0 && a.Unit != scale {
			scale = "C"
			break
		}
		scale = a.Unit
	}
	var list []string
	for _, e := range o.p.Run.Points {
		found, u, at, in := e.Found, e.ExpandedUncertainty, e.At, "°C"
		if scale == "F" {
			found, u, at, in = found*9/5, u*9/5, at*9/5+32, "°F"
		}
		list = append(list, fmt.Sprintf("read %+.2f %s ± %.2f %s at %.1f %s", found, in, u, in, at, in))
	}
	if list == nil {
		return "not known"
	}
	return strings.Join(list, "; ")
}

func (o opening) sections() []print.ReportSection {
	return []print.ReportSection{o.verdicts(), o.decided(), o.carriedOut(), o.correction(), o.closing()}
}

func (o opening) verdicts() print.ReportSection {
	n := map[limit.Verdict]int{}
	for _, f := range o.p.Findings {
		n[f.Verdict]++
	}
	s := print.ReportSection{Title: "Lots by verdict", Columns: []string{"verdict", "lots"}}
	for _, v := range []limit.Verdict{limit.Missed, limit.Unknown, limit.Indeterminate, limit.Met} {
		s.Rows = append(s.Rows, []string{string(v), fmt.Sprint(n[v])})
	}
	if n[""] > 0 {
		s.Rows = append(s.Rows, []string{"held, and not doubted by the last run", fmt.Sprint(n[""])})
	}
	return s
}

func (o opening) decided() print.ReportSection {
	s := print.ReportSection{Title: "What was decided, by whom and when", Columns: []string{"portion", "quantity", "verdict", "decided", "signed by"}}
	for i, q := range o.p.Portions {
		if i == mostOpened {
			s.Notes = append(s.Notes, fmt.Sprintf("The first %d of %d portions; all stand under dispositions and signatures.", mostOpened, len(o.p.Portions)))
			break
		}
		amount, what := "not known", "nothing yet"
		if q.Quantity != nil {
			amount = q.Quantity.Amount + " " + q.Quantity.Unit
		}
		if q.Decision != nil {
			what = words(string(q.Decision.Kind))
			if q.Decision.Receiver != "" {
				what += " to " + o.name(q.Decision.Receiver)
			}
		}
		s.Rows = append(s.Rows, []string{q.Name, amount, string(q.Found.Verdict), what, o.signers(q.Record)})
	}
	return s
}

// signers says who signed a record in which role and when, and for whom it waits.
func (o opening) signers(r *signoff.Record) string {
	if r == nil {
		return "nobody"
	}
	var list []string
	for _, s := range r.Signatures {
		list = append(list, fmt.Sprintf("%s, %s, %s", o.name(s.Name), words(string(s.Role)), o.p.When(s.SignedAt)))
	}
	for _, seat := range r.Open() {
		list = append(list, "waits for "+words(string(seat.Role)))
	}
	return strings.Join(list, "; ")
}

func (o opening) carriedOut() print.ReportSection {
	s := print.ReportSection{Title: "What was carried out", Columns: []string{"portion", "what", "quantity", "when", "whole", "verified by"}}
	for _, q := range o.p.Portions {
		for _, e := range q.Done {
			if len(s.Rows) == mostOpened {
				s.Notes = []string{"Only the first; all stands under what was carried out."}
				return s
			}
			whole := "in part"
			if q.Decision.State == decision.Executed {
				whole = "yes"
			}
			s.Rows = append(s.Rows, []string{q.Name, words(e.Fate), e.Amount + " " + e.Unit, o.p.When(e.At), whole, o.signers(q.Verified)})
		}
	}
	return s
}

// correction is the corrective action in the four parts of 9 CFR 417.3(a).
func (o opening) correction() print.ReportSection {
	s := print.ReportSection{Title: "Corrective action", Columns: []string{"part", "what was written"}}
	for _, part := range [][2]string{{"cause", "the cause, and that it is gone"}, {"control", "the critical control point under control"},
		{"prevention", "that it does not happen again"}, {"product", "no harmful product in commerce"}} {
		text := "nothing yet"
		if w, ok := o.p.Parts[correct.Part(part[0])]; ok {
			text = strings.TrimSpace(w.Text + " " + w.Statement)
		}
		s.Rows = append(s.Rows, []string{part[1], text})
	}
	return s
}

func (o opening) closing() print.ReportSection {
	s := print.ReportSection{Title: "Closing"}
	switch r := o.p.Closing; {
	case r == nil:
		s.Notes = []string{"Not asked for: the deviation is " + words(string(o.p.Deviation.State)) + "."}
	default:
		s.Notes = []string{"The deviation is " + words(string(o.p.Deviation.State)) + ". Signed by: " + o.signers(r) + "."}
	}
	return s
}

func words(s string) string { return strings.ReplaceAll(s, "_", " ") }
