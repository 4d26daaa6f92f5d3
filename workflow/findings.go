package workflow

import (
	"cmp"
	"context"
	"crypto/sha256"
	"fmt"
	"maps"
	"slices"

	"github.com/go-json-experiment/json"

	"lastgood/policy/disposition"
	"lastgood/policy/limit"
	"lastgood/policy/rules"
	"lastgood/workflow/lot"
	"lastgood/workflow/pg"
)

// Finding is what the last run found of a lot in doubt: by its own readings, and
// by those of what it was made of.
type Finding struct {
	LotID lot.ID `json:"-"`
	Lot   string `json:"lot"`
	// Verdict is the gravest of Limits; empty: the last run does not doubt the lot,
	// and its hold was wider than it had to be.
	Verdict          limit.Verdict `json:"verdict"`
	MissedAsRecorded bool          `json:"missed_as_recorded"`
	Level            int           `json:"level"` // the highest
	Limits           []FoundLimit  `json:"limits"`
	signers          []rules.Signer
	hazards          []string
}

// FoundLimit is one verdict behind a finding.
type FoundLimit struct {
	Lot              string        `json:"lot"` // the same, or one that it was made of
	Limit            string        `json:"limit"`
	Verdict          limit.Verdict `json:"verdict"`
	MissedAsRecorded bool          `json:"missed_as_recorded"`
	Level            int           `json:"level"`
	Route            string        `json:"route"`
	ClearedBy        []string      `json:"cleared_by,omitempty"`
	KillStep         string        `json:"kill_step,omitzero"`
}

// foundRow is an assessment of the last run.
type foundRow struct {
	Lot  lot.ID `db:"lot_id"`
	Body []byte `db:"body"`
}

const lastAssessments = `select a.lot_id, a.body from assessment a join trace_run r using (plant_id, run_id)
where a.plant_id = $1 and r.deviation_id = $2 and r.run_number = (select max(run_number) from trace_run where plant_id = $1 and deviation_id = $2)
order by a.lot_id, a.limit_name`

// findingsOf returns what the last run found of every lot in doubt, by code.
func findingsOf(ctx context.Context, tx *pg.Tx, d Deviation) ([]Finding, error) {
	var doubted []struct {
		ID   lot.ID `db:"lot_id"`
		Code string `db:"code"`
	}
	const lots = `select lot_id, code from deviation_lot join lot using (plant_id, lot_id) where plant_id = $1 and deviation_id = $2 order by code`
	if err := tx.SelectContext(ctx, &doubted, lots, tx.Plant, d.ID); err != nil {
		return nil, fmt.Errorf("lots in doubt: %w", err)
	}
	var rows []foundRow
	if err := tx.SelectContext(ctx, &rows, lastAssessments, tx.Plant, d.ID); err != nil {
		return nil, fmt.Errorf("assessments: %w", err)
	}
	own := map[lot.ID][]Assessment{}
	for _, r := range rows {
		var a Assessment
		if err := json.Unmarshal(r.Body, &a); err != nil {
			return nil, fmt.Errorf("assessment: %w", err)
		}
		own[r.Lot] = append(own[r.Lot], a)
	}
	ids := make([]lot.ID, len(doubted))
	for i, l := range doubted {
		ids[i] = l.ID
	}
	made, err := lot.MadeOf(ctx, tx, ids)
	if err != nil {
		return nil, err
	}
	out := make([]Finding, len(doubted))
	for i, l := range doubted {
		out[i] = Finding{LotID: l.ID, Lot: l.Code}
		for _, id := range append([]lot.ID{l.ID}, made[l.ID]...) {
			for _, a := range own[id] {
				out[i].add(a)
			}
		}
		out[i].settle()
	}
	return out, nil
}

// add counts an assessment of the lot, or of one that it was made of.
func (f *Finding) add(a Assessment) {
	v := a.Result.Verdict
	if f.Verdict == "" || f.Verdict.LessGrave(v) {
		f.Verdict = v
	}
	l := FoundLimit{Lot: a.Lot, Limit: a.Limit, Verdict: v, MissedAsRecorded: a.Result.MissedAsRecorded, Level: a.Impact.Level, Route: a.Route,
		ClearedBy: a.ClearedBy}
	if a.KillStep != nil {
		l.KillStep = a.KillStep.Limit
	}
	f.MissedAsRecorded = f.MissedAsRecorded || a.Result.MissedAsRecorded
	f.Level = max(f.Level, a.Impact.Level)
	f.Limits = append(f.Limits, l)
	f.hazards = append(f.hazards, a.Hazard)
	for _, s := range a.Signatures {
		if !slices.ContainsFunc(f.signers, func(o rules.Signer) bool { return o.Role == s.Role }) {
			f.signers = append(f.signers, s)
		}
	}
}

// settle brings what was added into one order.
func (f *Finding) settle() {
	slices.SortFunc(f.Limits, func(a, b FoundLimit) int { return cmp.Or(cmp.Compare(a.Lot, b.Lot), cmp.Compare(a.Limit, b.Limit)) })
	if f.Limits == nil {
		f.Limits = []FoundLimit{}
	}
}

// cleared is the evidence that the run itself found: a second instrument, a later
// step.
func (f Finding) cleared() []disposition.Evidence {
	has := map[disposition.Evidence]bool{}
	steps := 0
	for _, l := range f.Limits {
		if len(l.ClearedBy) > 0 {
			has[disposition.SecondInstrument] = true
		}
		if l.Verdict == limit.Met || l.KillStep != "" {
			steps++
		}
		if l.KillStep != "" {
			has[disposition.DownstreamStep] = true
		}
	}
	if steps < len(f.Limits) { // a step that clears one limit of two clears nothing
		delete(has, disposition.DownstreamStep)
	}
	return slices.Sorted(maps.Keys(has))
}

// digestOf is the digest of what was found, for whether anything changed since
// somebody looked. What a run says besides is no change of a verdict or a lot: its
// number, the policy's version, scores, and levels and routes, which also follow
// from where released product has gone since.
func digestOf(list []Finding) ([]byte, error) {
	type found struct {
		Lot, Limit string
		Verdict    limit.Verdict
		Missed     bool
		ClearedBy  []string
		KillStep   string
	}
	type doubted struct {
		Lot   string
		Found []found
	}
	var all []doubted
	for _, f := range list {
		d := doubted{Lot: f.Lot}
		for _, l := range f.Limits {
			d.Found = append(d.Found, found{l.Lot, l.Limit, l.Verdict, l.MissedAsRecorded, l.ClearedBy, l.KillStep})
		}
		all = append(all, d)
	}
	text, err := json.Marshal(all, json.Deterministic(true))
	if err != nil {
		return nil, fmt.Errorf("findings: %w", err)
	}
	d := sha256.Sum256(text)
	return d[:], nil
}
