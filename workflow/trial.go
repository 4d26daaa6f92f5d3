package workflow

import (
	"context"
	"fmt"
	"slices"

	"github.com/go-json-experiment/json"

	"lastgood/policy/document"
	"lastgood/policy/rules"
	"lastgood/workflow/pg"
)

// Trial is what a policy would have decided otherwise, had it been in force.
type Trial struct {
	Deviations   int // that were traced
	Assessments  int // of their last runs
	WithoutFacts int // of these, from runs that did not keep what the rules were asked: not tried
	Differences  []Difference
}

// Difference is one assessment, as it is recorded, and what a policy would have
// made of it.
type Difference struct {
	Deviation     DeviationID
	Run           int
	PolicyVersion int // that decided
	Instrument    string
	Assessment    Assessment
	Would         rules.Outcome
	What          []string // level, route, signers, deadlines
}

// TryPolicy says what a policy would have decided otherwise on the last run of
// each deviation. It tries the rules, the severities and which kill steps there
// are on the facts as they were recorded; limits are not evaluated again, so
// verdicts stay. It writes nothing.
func (s *Service) TryPolicy(ctx context.Context, sc pg.Scope, p *document.Policy) (t Trial, err error) {
	err = s.db.Read(ctx, sc, func(tx *pg.Tx) (err error) {
		t, err = tryOn(ctx, tx, p, allDeviations)
		return err
	})
	return t, err
}

// Which deviations a policy is tried on.
const (
	allDeviations  = ``
	openDeviations = `and exists (select from deviation d where d.plant_id = $1 and d.deviation_id = r.deviation_id
		and d.state not in ('closed', 'cancelled_in_error'))`
)

// tryOn tries a policy on the last run of each of some deviations.
func tryOn(ctx context.Context, tx *pg.Tx, p *document.Policy, which string) (t Trial, err error) {
	const last = `select distinct on (deviation_id) deviation_id, body from trace_run r where plant_id = $1 `
	rows, err := tx.QueryxContext(ctx, last+which+` order by deviation_id, run_number desc`, tx.Plant)
	if err != nil {
		return t, fmt.Errorf("last runs: %w", err)
	}
	defer rows.Close()
	for rows.Next() {
		var id DeviationID
		var body []byte
		if err := rows.Scan(&id, &body); err != nil {
			return t, fmt.Errorf("last runs: %w", err)
		}
		var run Run
		if err := json.Unmarshal(body, &run); err != nil {
			return t, fmt.Errorf("run of deviation %d: %w", id, err)
		}
		t.try(p, id, &run)
	}
	return t, rows.Err()
}

// try adds what differs in one run.
func (t *Trial) try(p *document.Policy, id DeviationID, run *Run) {
	t.Deviations++
	for _, a := range run.Assessments {
		t.Assessments++
		if a.Facts == nil {
			t.WithoutFacts++
			continue
		}
		would := p.Rules.Evaluate(a.factsUnder(p))
		if what := rules.Differences(a.Outcome(), would); what != nil {
			t.Differences = append(t.Differences, Difference{id, run.Number, run.PolicyVersion, run.Instrument, a, would, what})
		}
	}
}

// factsUnder returns the recorded facts with what another policy says of the
// hazard. A kill step that it does not name clears nothing; whether one that only
// it names would, nobody looked at.
func (a *Assessment) factsUnder(p *document.Policy) rules.Facts {
	f := *a.Facts
	f.Severity = string(severityOf(p, f.Hazard))
	f.KillStep = f.KillStep && a.KillStep != nil && slices.Contains(p.ClearedBy(f.Hazard), a.KillStep.Limit)
	return f
}
