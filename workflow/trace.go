package workflow

import (
	"context"
	"fmt"
	"math"
	"slices"
	"time"

	"github.com/go-json-experiment/json"

	"lastgood/policy/disposition"
	"lastgood/policy/limit"
	"lastgood/policy/metrology"
	"lastgood/policy/unit"
	"lastgood/workflow/pg"
	"lastgood/workflow/trail"
)

// Trace finds every reading in a deviation's window and every lot that they
// vouched for, judges each lot with the instrument's error taken out, and
// stores the run. It looks at one moment of the database, outside any lock; what
// arrives meanwhile leaves the deviation due for another run.
func (s *Service) Trace(ctx context.Context, sc pg.Scope, id DeviationID) (Run, error) {
	e, run, err := s.look(ctx, sc, id)
	if err != nil {
		return Run{}, err
	}
	err = s.db.InTx(ctx, sc, func(tx *pg.Tx) error { return storeRun(ctx, tx, e, &run) })
	return run, err
}

// Preview says what Trace would find now and stores nothing.
func (s *Service) Preview(ctx context.Context, sc pg.Scope, id DeviationID) (Run, error) {
	_, run, err := s.look(ctx, sc, id)
	return run, err
}

// look reads the evidence and judges it.
func (s *Service) look(ctx context.Context, sc pg.Scope, id DeviationID) (e *evidence, run Run, err error) {
	err = s.db.Read(ctx, sc, func(tx *pg.Tx) (err error) {
		if e, err = gather(ctx, tx, id); err != nil {
			return err
		}
		if run.Assessments, err = e.judgeAll(); err != nil {
			return err
		}
		return e.weigh(ctx, tx, run.Assessments)
	})
	if err != nil {
		return nil, Run{}, err
	}
	e.describe(&run)
	return e, run, nil
}

// describe fills in what the run says of the instrument.
func (e *evidence) describe(r *Run) {
	r.Instrument, r.FailedAt, r.OpenedBy = e.in.Code, time.UnixMicro(e.opening.at()).UTC(), e.opening.words()
	r.After, r.Until = moment(e.after), moment(e.until)
	r.PolicyVersion, r.Method, r.Model = e.policy.version, TraceMethod, e.policy.Onset
	r.Notes, r.Readings, r.Unmatched = e.doubt.Notes, e.readings, e.unmatched
	r.Notes = append(slices.Clone(r.Notes), e.policyNotes()...)
	r.InputDigest = e.digest.sum()
	for _, ev := range e.history.Events {
		if ev.UsedAfter && ev.At >= e.opening.at() {
			r.Notes = append(slices.Clone(r.Notes), "readings were taken after the removal from use on "+
				time.UnixMicro(ev.At).UTC().Format(time.RFC3339)+": the removal does not end the window")
		}
	}
	switch {
	case e.lastGood >= 0:
		r.LastGoodAt = r.After
	case e.after >= e.until: // nothing is in doubt at the limits' temperatures
		r.LastGoodAt = &r.FailedAt
		r.Notes = append(slices.Clone(r.Notes), "the failed check itself passed at the temperatures of every limit that the instrument is read for")
	}
	r.Points = []ErrorPoint{}
	if e.opening.check == nil {
		return
	}
	for _, p := range e.opening.check.Points {
		r.Points = append(r.Points, errorPoint(p, e.policy.ruleFor(e.in, e.opening)))
	}
}

// policyNotes are what must be said of the policy that the lots were judged by.
func (e *evidence) policyNotes() (out []string) {
	if d := e.deviation; d.PolicyVersion != 0 && d.PolicyVersion != e.policy.version {
		out = append(out, fmt.Sprintf("judged by version %d of the policy; version %d was in force when the deviation was opened: a limit that was changed since counts for all lots unless it says from when", e.policy.version, d.PolicyVersion))
	}
	for _, l := range e.policy.Limits {
		served := false
		for g := range e.record {
			served = served || g.limit == l.Name
		}
		if served && l.Monitoring == limit.Discrete && len(l.AppliesTo.Products) == 0 {
			out = append(out, fmt.Sprintf("the limit %s is monitored by single readings and names no products: lots that no reading names are not found", l.Name))
		}
	}
	return out
}

func errorPoint(p metrology.Point, rule metrology.Rule) ErrorPoint {
	s := p.Reference.Scale
	out := ErrorPoint{Reference: float64(unit.ToCelsius(p.Reference.True, s)), Basis: p.Reference.Basis,
		ExpandedUncertainty: float64(rule.Expanded(p.U, p.DoF))}
	if p.Found != nil {
		out.At = float64(unit.ToCelsius(*p.Found, s))
		m, _ := p.FoundError()
		out.Found = float64(unit.DiffToKelvin(m.Degrees(), s))
	}
	if p.Left != nil {
		m, _ := p.LeftError()
		left := float64(unit.DiffToKelvin(m.Degrees(), s))
		out.Left = &left
	}
	return out
}

// storeRun stores the run, brings the containment up to date with the same
// evidence, and lets the state follow.
func storeRun(ctx context.Context, tx *pg.Tx, e *evidence, run *Run) error {
	if err := tx.OwnPlant(ctx); err != nil {
		return err
	}
	d, err := lockDeviation(ctx, tx, e.deviation.ID)
	if err != nil {
		return err
	}
	if d.EvidenceCount == e.deviation.EvidenceCount { // else whoever raised it looked at more than we did
		if err := containAgain(ctx, tx, &d, e); err != nil {
			return err
		}
	}
	if err := insertRun(ctx, tx, d, run); err != nil {
		return err
	}
	const caughtUp = `update deviation set retrace_due = null, version = version + 1
		where plant_id = $1 and deviation_id = $2 and evidence_count = $3`
	if _, err := tx.ExecContext(ctx, caughtUp, tx.Plant, d.ID, e.deviation.EvidenceCount); err != nil {
		return err
	}
	if d, err = lockDeviation(ctx, tx, d.ID); err != nil {
		return err
	}
	if err := refresh(ctx, tx, &d, fmt.Sprintf("run %d", run.Number)); err != nil {
		return err
	}
	if err := advance(ctx, tx, &d); err != nil {
		return err
	}
	return trail.Append(ctx, tx, trail.Entry{Stream: d.stream(), Action: "trace.stored", Subject: run.Instrument, Version: run.Number,
		After: map[string]any{"input_sha256": run.InputDigest, "readings": run.Readings, "unmatched": run.Unmatched,
			"assessments": len(run.Assessments), "policy_version": run.PolicyVersion, "method": run.Method}})
}

// containAgain brings the containment up to date. If that moves the window, what
// was checked against the instrument may fall.
func containAgain(ctx context.Context, tx *pg.Tx, d *Deviation, e *evidence) error {
	was, err := standingNow(ctx, tx)
	if err != nil {
		return err
	}
	if err := contain(ctx, tx, d, e.doubt, e.policy); err != nil {
		return err
	}
	if _, err := was.spread(ctx, tx, nil, e.policy); err != nil {
		return err
	}
	return tx.RaiseEpoch(ctx)
}

const addAssessments = `
insert into assessment (plant_id, run_id, lot_id, limit_name, verdict, readings, headroom, worst_error,
  probability_missed, level, score, route, method, body)
select $1, run_id, lot_id, limit_name, verdict, readings, headroom, worst_error, probability_missed, level, score,
  route, method, decode(body, 'base64')
from json_to_recordset($2) as r(run_id bigint, lot_id bigint, limit_name text, verdict text, readings bigint,
  headroom float8, worst_error float8, probability_missed float8, level int, score int, route text, method text, body text)
where $3::timestamptz is not null`

type assessmentRow struct {
	Run         int64             `json:"run_id"`
	Lot         int64             `json:"lot_id"`
	Limit       string            `json:"limit_name"`
	Verdict     string            `json:"verdict"`
	Readings    int               `json:"readings"`
	Headroom    *unit.CelsiusDiff `json:"headroom"`
	WorstError  *unit.CelsiusDiff `json:"worst_error"`
	Probability *float64          `json:"probability_missed"`
	Level       int               `json:"level"`
	Score       int               `json:"score"`
	Route       string            `json:"route"`
	Method      string            `json:"method"`
	Body        []byte            `json:"body"`
}

func insertRun(ctx context.Context, tx *pg.Tx, d Deviation, run *Run) error {
	const next = `select coalesce(max(run_number), 0) + 1 from trace_run where plant_id = $1 and deviation_id = $2`
	if err := tx.GetContext(ctx, &run.Number, next, tx.Plant, d.ID); err != nil {
		return fmt.Errorf("run: %w", err)
	}
	run.MadeAt = tx.Now
	body, err := json.Marshal(run, json.Deterministic(true))
	if err != nil {
		return fmt.Errorf("run: %w", err)
	}
	var id int64
	const add = `insert into trace_run (plant_id, deviation_id, run_number, made_at, made_by, input_digest, policy_version,
		method, readings, unmatched, body) values ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11) returning run_id`
	err = tx.GetContext(ctx, &id, add, tx.Plant, d.ID, run.Number, tx.Now, tx.By.ID, run.InputDigest, run.PolicyVersion,
		run.Method, run.Readings, run.Unmatched, body)
	if err != nil {
		return fmt.Errorf("run: %w", err)
	}
	rows := make([]assessmentRow, len(run.Assessments))
	for i, a := range run.Assessments {
		text, err := json.Marshal(a, json.Deterministic(true))
		if err != nil {
			return fmt.Errorf("assessment of %s: %w", a.Lot, err)
		}
		rows[i] = assessmentRow{id, a.LotID, a.Limit, string(a.Result.Verdict), a.Result.Readings, finite(a.Result.Headroom),
			finite(a.Result.WorstError), a.Result.ProbabilityMissed, a.Impact.Level, a.Impact.Score, a.Route, a.Result.Method, text}
	}
	if _, err := tx.Insert(ctx, addAssessments, rows); err != nil {
		return fmt.Errorf("assessments: %w", err)
	}
	return nil
}

// finite keeps what JSON cannot say out of it.
func finite(d *unit.CelsiusDiff) *unit.CelsiusDiff {
	if d == nil || math.IsInf(float64(*d), 0) || math.IsNaN(float64(*d)) {
		return nil
	}
	return d
}

// Evaluate begins the evaluation: a qualified person, or QA, takes the traced
// deviation on. seen
// is the version of the deviation that they looked at.
func (s *Service) Evaluate(ctx context.Context, sc pg.Scope, id DeviationID, seen int) (Deviation, error) {
	request := map[string]any{"deviation": id, "seen": seen}
	return do(ctx, s, sc, "evaluate", request, statusDone, func(tx *pg.Tx) (Deviation, error) {
		d, err := lockDeviation(ctx, tx, id)
		if err != nil {
			return d, err
		}
		if d.Version != seen {
			return d, stale(d, seen)
		}
		f, err := factsOf(ctx, tx, d)
		if err != nil {
			return d, err
		}
		f.Evaluator = tx.By.ID != ""
		if _, err := deviationTrack.Next(ctx, d.State, Evaluate, tx.By.Kind, f); err != nil { // before there is anything to look at
			return d, err
		}
		if err := asA(ctx, tx, disposition.QualifiedPerson, disposition.QALead); err != nil {
			return d, err
		}
		list, err := findingsOf(ctx, tx, d)
		if err != nil {
			return d, err
		}
		if d.Evaluated, err = digestOf(list); err != nil {
			return d, err
		}
		d.Evaluator = &tx.By.ID
		const name = `update deviation set evaluator = $3, evaluated_digest = $4 where plant_id = $1 and deviation_id = $2`
		if _, err := tx.ExecContext(ctx, name, tx.Plant, d.ID, tx.By.ID, d.Evaluated); err != nil {
			return d, err
		}
		if err := fire(ctx, tx, &d, Evaluate, f); err != nil {
			return d, err
		}
		return d, advance(ctx, tx, &d)
	})
}
