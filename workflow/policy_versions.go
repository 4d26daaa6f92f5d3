package workflow

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"time"

	"lastgood/workflow/fault"
	"lastgood/workflow/pg"
	"lastgood/workflow/signoff"
)

// PolicyVersion is a version of the policy, in force or past.
type PolicyVersion struct {
	Number int       `db:"policy_version"`
	Digest []byte    `db:"digest"`
	At     time.Time `db:"recorded_at"` // when it was put in force
	By     string    `db:"recorded_by"`
	Draft  *int64    `db:"draft_id"` // that it came from; nil: the first, for which nobody had to sign
	// Record is what was signed; nil: nobody had to.
	Record *signoff.Record `db:"-"`
}

// PolicyVersions returns up to limit versions of the policy after a number, in
// order.
func (s *Service) PolicyVersions(ctx context.Context, sc pg.Scope, after int64, limit int) ([]PolicyVersion, error) {
	return ask(ctx, s, sc, func(tx *pg.Tx) (list []PolicyVersion, err error) {
		const q = `select policy_version, digest, recorded_at, recorded_by, draft_id from policy_version
			where plant_id = $1 and policy_version > $2 order by policy_version limit $3`
		if err := tx.SelectContext(ctx, &list, q, tx.Plant, after, limit); err != nil {
			return nil, fmt.Errorf("policy versions: %w", err)
		}
		for i, v := range list {
			if v.Draft == nil {
				continue
			}
			r, err := signoff.Get(ctx, tx, signoff.Policy, *v.Draft)
			if err != nil {
				return nil, err
			}
			list[i].Record = &r
		}
		return list, nil
	})
}

// PolicyAt returns a version of the policy. fault.NotFound: there is none of that
// number.
func (s *Service) PolicyAt(ctx context.Context, sc pg.Scope, version int) (PolicyInForce, error) {
	return ask(ctx, s, sc, func(tx *pg.Tx) (PolicyInForce, error) {
		var body []byte
		err := tx.GetContext(ctx, &body, `select body from policy_version where plant_id = $1 and policy_version = $2`, tx.Plant, version)
		if errors.Is(err, sql.ErrNoRows) {
			return PolicyInForce{}, fault.New(fault.NotFound, "unknown-version", "the policy has no version %d", version)
		}
		if err != nil {
			return PolicyInForce{}, fmt.Errorf("policy version %d: %w", version, err)
		}
		p, err := read.policy(body)
		if err != nil {
			return PolicyInForce{}, fmt.Errorf("policy version %d: %w", version, err)
		}
		return PolicyInForce{version, body, p}, nil
	})
}

// DraftState says what has become of a draft.
type DraftState string

// The states.
const (
	DraftWaits    DraftState = "waits"    // for signatures
	DraftAdopted  DraftState = "adopted"  // everyone has signed, and it was put in force; a later one may be by now
	DraftOutdated DraftState = "outdated" // a newer draft took its place
	DraftMovedOn  DraftState = "moved_on" // another version is in force than it would change
)

// PolicyDraft is a text that was proposed, with what is signed of it.
type PolicyDraft struct {
	ID         int64
	Text       []byte
	Digest     []byte
	BasedOn    int // the version that it would change
	ProposedAt time.Time
	ProposedBy string
	State      DraftState
	Version    *int // that it was put in force as; nil: it was not
	Record     signoff.Record
}

// draftRow is a draft with what is known around it.
type draftRow struct {
	policyDraft
	Version *int  `db:"version"`
	Newest  int64 `db:"newest"`
	InForce int   `db:"in_force"`
}

const draftRows = `
select d.draft_id, d.digest, d.body, d.based_on_version, d.proposed_at, d.proposed_by, v.policy_version as version,
  (select max(draft_id) from policy_draft where plant_id = $1) as newest,
  (select max(policy_version) from policy_version where plant_id = $1) as in_force
from policy_draft d left join policy_version v on v.plant_id = $1 and v.draft_id = d.draft_id where d.plant_id = $1 `

// PolicyDrafts returns up to limit drafts after a number, in order.
func (s *Service) PolicyDrafts(ctx context.Context, sc pg.Scope, after int64, limit int) ([]PolicyDraft, error) {
	return ask(ctx, s, sc, func(tx *pg.Tx) ([]PolicyDraft, error) {
		var rows []draftRow
		if err := tx.SelectContext(ctx, &rows, draftRows+`and d.draft_id > $2 order by d.draft_id limit $3`, tx.Plant, after, limit); err != nil {
			return nil, fmt.Errorf("policy drafts: %w", err)
		}
		var out []PolicyDraft
		for _, r := range rows {
			d, err := r.draft(ctx, tx)
			if err != nil {
				return nil, err
			}
			out = append(out, d)
		}
		return out, nil
	})
}

// PolicyDraft returns one draft. fault.NotFound: there is none of that number.
func (s *Service) PolicyDraft(ctx context.Context, sc pg.Scope, id int64) (PolicyDraft, error) {
	return ask(ctx, s, sc, func(tx *pg.Tx) (PolicyDraft, error) {
		r, err := getDraft(ctx, tx, id)
		if err != nil {
			return PolicyDraft{}, err
		}
		return r.draft(ctx, tx)
	})
}

func getDraft(ctx context.Context, tx *pg.Tx, id int64) (r draftRow, err error) {
	err = tx.GetContext(ctx, &r, draftRows+`and d.draft_id = $2`, tx.Plant, id)
	if errors.Is(err, sql.ErrNoRows) {
		return r, fault.New(fault.NotFound, "unknown-draft", "there is no policy draft %d", id)
	}
	return r, err
}

func (r draftRow) draft(ctx context.Context, tx *pg.Tx) (PolicyDraft, error) {
	record, err := signoff.Get(ctx, tx, signoff.Policy, r.ID)
	return PolicyDraft{ID: r.ID, Text: r.Text, Digest: r.Digest, BasedOn: r.BasedOn, ProposedAt: r.ProposedAt, ProposedBy: r.ProposedBy,
		State: r.state(), Version: r.Version, Record: record}, err
}

func (r draftRow) state() DraftState {
	switch {
	case r.Version != nil:
		return DraftAdopted
	case r.ID != r.Newest:
		return DraftOutdated
	case r.BasedOn != r.InForce:
		return DraftMovedOn
	}
	return DraftWaits
}
