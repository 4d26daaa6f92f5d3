package workflow

import (
	"context"
	"fmt"
	"slices"
	"strings"

	"github.com/go-json-experiment/json"

	"lastgood/policy/disposition"
	"lastgood/policy/limit"
	"lastgood/workflow/correct"
	"lastgood/workflow/fault"
	"lastgood/workflow/pg"
	"lastgood/workflow/signoff"
	"lastgood/workflow/trail"
)

// The states of the plan.
const (
	PlanNotNeeded State = "not_needed"
	PlanDue       State = "due" // next: a qualified person
	PlanDone      State = "done"
)

// planFacts is what the guards of the plan look at.
type planFacts struct {
	Asked  int  // reasons why the plan is looked at again
	Signed bool // an outcome, for all of them
}

var planTrack = Track[planFacts]{
	Name:   "plan",
	States: []State{PlanNotNeeded, PlanDue, PlanDone},
	Steps: []Step[planFacts]{
		{"9 CFR 417.3(b)(4), 21 CFR 117.170(b): unforeseen, or what was planned did not work", from(PlanNotNeeded), "ask_reanalysis", PlanDue, byItself, needs(reanalysisAsked)},
		{"common practice: nothing asks for it any more", from(PlanDue), "drop", PlanNotNeeded, byItself, needs(reanalysisNotAsked)},
		{"21 CFR 117.170(c): by a qualified person", from(PlanDue), "reanalyse", PlanDone, byItself, needs(reanalysisAsked, reanalysisSigned)},
	},
}

var (
	reanalysisAsked    = Guard[planFacts]{"a reason to look at the plan again", func(f planFacts) bool { return f.Asked > 0 }}
	reanalysisNotAsked = Guard[planFacts]{"no reason to look at the plan again", func(f planFacts) bool { return f.Asked == 0 }}
	reanalysisSigned   = Guard[planFacts]{"an outcome signed for every reason", func(f planFacts) bool { return f.Signed }}
)

// PlanStanding is where the plan stands.
type PlanStanding struct {
	State   State
	Reasons []string // why it is to be looked at again
	Written *correct.Reanalysis
	Record  *signoff.Record
}

// Reanalysis returns where the plan stands because of a deviation.
func (s *Service) Reanalysis(ctx context.Context, sc pg.Scope, id DeviationID) (PlanStanding, error) {
	return ask(ctx, s, sc, func(tx *pg.Tx) (PlanStanding, error) {
		c, err := docketAt(ctx, tx, id)
		if err != nil {
			return PlanStanding{}, err
		}
		return planOf(ctx, tx, c)
	})
}

func planOf(ctx context.Context, tx *pg.Tx, c *docket) (p PlanStanding, err error) {
	if p.Reasons, err = reanalysisReasons(ctx, tx, c); err != nil {
		return p, err
	}
	if p.Written, err = correct.ReanalysisOf(ctx, tx, int64(c.d.ID)); err != nil {
		return p, err
	}
	f := planFacts{Asked: len(p.Reasons)}
	if r, ok := c.record(signoff.Reanalysis, int64(c.d.ID)); ok {
		p.Record = &r
		var w signedReanalysis
		if err := json.Unmarshal(r.What, &w); err != nil {
			return p, fmt.Errorf("reanalysis of deviation %d: %w", c.d.ID, err)
		}
		f.Signed = r.Complete() && !slices.ContainsFunc(p.Reasons, func(s string) bool { return !slices.Contains(w.Because, s) })
	}
	p.State, err = planTrack.follow(ctx, PlanNotNeeded, f, func(Event, State, State) error { return nil })
	return p, err
}

// reanalysisReasons are why the plan is looked at again: a limit was missed, which
// the plan did not keep from happening; the cause says that what was planned did not
// work; or nobody can say since when the instrument was wrong, which no plan
// foresees.
func reanalysisReasons(ctx context.Context, tx *pg.Tx, c *docket) (out []string, err error) {
	for _, f := range c.findings {
		if f.MissedAsRecorded || f.Verdict == limit.Missed {
			out = append(out, "a limit was missed: lot "+f.Lot)
		}
	}
	parts, err := correct.Of(ctx, tx, int64(c.d.ID))
	if err != nil {
		return nil, err
	}
	if parts[correct.Cause].PlanFailed {
		out = append(out, "the cause is that what was planned did not work")
	}
	var unforeseen bool
	const since = `select exists (select from deviation_window where plant_id = $1 and deviation_id = $2 and lower_inf(span))`
	if err := tx.GetContext(ctx, &unforeseen, since, tx.Plant, c.d.ID); err != nil {
		return nil, err
	}
	if unforeseen {
		out = append(out, "there is no last good check: unanticipated")
	}
	return out, nil
}

// NewReanalysis is what became of the plan.
type NewReanalysis struct {
	Outcome string `json:"outcome"`
	Changes bool   `json:"plan_changes"`
	Version string `json:"plan_version"` // as the plant calls it; empty: the plan stays
}

// signedReanalysis is what a qualified person signs of the plan.
type signedReanalysis struct {
	Because []string `json:"because"`
	Outcome string   `json:"outcome"`
	Changes bool     `json:"plan_changes"`
	Version string   `json:"plan_version,omitzero"`
	By      string   `json:"written_by"`
	Caution string   `json:"caution"`
}

// WriteReanalysis writes what became of the plan, and puts it up for a qualified
// person to sign.
func (s *Service) WriteReanalysis(ctx context.Context, sc pg.Scope, id DeviationID, n NewReanalysis) (signoff.Record, error) {
	request := map[string]any{"deviation": id, "reanalysis": n}
	return do(ctx, s, sc, "write reanalysis", request, statusCreated, func(tx *pg.Tx) (r signoff.Record, err error) {
		d, err := lockDeviation(ctx, tx, id)
		if err != nil {
			return r, err
		}
		if err := asA(ctx, tx, disposition.QualifiedPerson, disposition.QALead); err != nil {
			return r, err
		}
		if err := n.check(d); err != nil {
			return r, err
		}
		c, err := docketOf(ctx, tx, d)
		if err != nil {
			return r, err
		}
		reasons, err := reanalysisReasons(ctx, tx, c)
		if err != nil {
			return r, err
		}
		if reasons == nil {
			reasons = []string{}
		}
		w, err := correct.AddReanalysis(ctx, tx, correct.Reanalysis{Deviation: int64(id), Outcome: strings.TrimSpace(n.Outcome), Changes: n.Changes, Version: strings.TrimSpace(n.Version)})
		if err != nil {
			return r, err
		}
		r, err = signoff.Put(ctx, tx, signoff.Draft{Kind: signoff.Reanalysis, ID: int64(id), Deviation: int64(id), Stream: d.stream(), Subjects: []string{"plan"},
			What:   signedReanalysis{reasons, w.Outcome, w.Changes, w.Version, w.By, caution},
			Reason: "the outcome was written again",
			Seats:  []signoff.Seat{{Role: disposition.QualifiedPerson, Deed: disposition.Evaluated, Meaning: "has looked at the plan again, with this outcome"}}})
		if err != nil {
			return r, err
		}
		return r, trail.Append(ctx, tx, trail.Entry{Stream: d.stream(), Action: "reanalysis.written", Subject: fmt.Sprint(id), Version: r.Version,
			After: map[string]any{"because": reasons, "outcome": w.Outcome, "plan_changes": w.Changes, "plan_version": w.Version}})
	})
}

func (n NewReanalysis) check(d Deviation) error {
	switch {
	case d.State == Closed || d.State == CancelledInError:
		return fault.New(fault.Refused, "transition-not-allowed", "deviation %d is %s: reopen it first", d.ID, d.State)
	case n.Changes && strings.TrimSpace(n.Version) == "":
		return fault.New(fault.Invalid, "text-missing", "say which version of the plan has the change").In("plan_version")
	case !n.Changes && n.Version != "":
		return fault.New(fault.Invalid, "contradiction", "the plan stays, and so has no new version").In("plan_version")
	}
	return said(n.Outcome, "outcome", "what came of it: what changes, or why the plan stays")
}

func init() {
	ways = append(ways, planInTheWay)
}

func planInTheWay(ctx context.Context, tx *pg.Tx, c *docket) ([]Reason, error) {
	p, err := planOf(ctx, tx, c)
	if err != nil || p.State != PlanDue {
		return nil, err
	}
	return []Reason{{"reanalysis_due", "the plan is to be looked at again: " + strings.Join(p.Reasons, "; "), fmt.Sprintf("/v1/deviations/%d/reanalysis", c.d.ID)}}, nil
}
