package workflow

import (
	"bytes"
	"context"
	"crypto/sha256"
	"database/sql"
	"encoding/hex"
	"errors"
	"fmt"
	"slices"
	"time"

	"lastgood/policy/disposition"
	"lastgood/policy/document"
	"lastgood/workflow/fault"
	"lastgood/workflow/pg"
	"lastgood/workflow/signoff"
	"lastgood/workflow/trail"
)

// Once a policy is in force, another text is a draft that two people sign: one who
// has read what changes and answers for it, and one who puts it in force. Who
// proposed it counts as its author too, so that nobody ever puts a rule of their
// own in force (design notes on signing, S-9).

// signedPolicy is what is signed of a draft.
type signedPolicy struct {
	BasedOn int            `json:"based_on_version"`
	SHA256  string         `json:"sha256"` // of the text
	Changes []policyChange `json:"changes"`
	// Rerouted is how many open deviations have a lot that the rules would have
	// routed otherwise, on the facts as they were recorded.
	Rerouted int    `json:"open_deviations_routed_otherwise"`
	Caution  string `json:"caution"`
}

// policyDraft is a draft as it is stored.
type policyDraft struct {
	ID         int64     `db:"draft_id"`
	Digest     []byte    `db:"digest"`
	Text       []byte    `db:"body"`
	BasedOn    int       `db:"based_on_version"`
	ProposedAt time.Time `db:"proposed_at"`
	ProposedBy string    `db:"proposed_by"`
}

const draftColumns = `select draft_id, digest, body, based_on_version, proposed_at, proposed_by from policy_draft where plant_id = $1 `

// ProposePolicy puts a text up for signing that would take the place of the policy
// in force, and returns the record of it. seen is the version that whoever proposes
// looked at; fault.Stale: another is in force by now. The draft that was proposed
// last, proposed again, changes nothing; any other text makes a new draft, and the
// one before it can no longer be signed. fault.Refused: "no-policy", there is none
// in force, so that this one needs nobody else; "policy-unchanged", it is in force.
func (s *Service) ProposePolicy(ctx context.Context, sc pg.Scope, text []byte, seen int) (signoff.Record, error) {
	if err := understood(text); err != nil {
		return signoff.Record{}, err
	}
	digest := sha256.Sum256(text)
	request := map[string]any{"sha256": hex.EncodeToString(digest[:]), "seen": seen}
	return do(ctx, s, sc, "propose policy", request, statusAccepted, func(tx *pg.Tx) (r signoff.Record, err error) {
		if _, err := tx.SharePlant(ctx); err != nil { // so that no draft is adopted meanwhile
			return r, err
		}
		now, err := policyInForce(ctx, tx)
		switch {
		case err != nil:
			return r, err
		case now.version != seen:
			return r, fault.New(fault.Stale, "precondition-failed", "version %d of the policy is in force by now, not %d: look at it again", now.version, seen)
		case bytes.Equal(now.Source, text):
			return r, fault.New(fault.Refused, "policy-unchanged", "this text is in force already, as version %d", now.version)
		}
		last, err := lastDraft(ctx, tx)
		if err != nil {
			return r, err
		}
		if last != nil && last.BasedOn == now.version && bytes.Equal(last.Text, text) {
			return signoff.Get(ctx, tx, signoff.Policy, last.ID)
		}
		return addDraft(ctx, tx, now, text, digest[:])
	})
}

// statusAccepted: it was taken, and waits for people.
const statusAccepted = 202

// lastDraft returns the newest draft; nil: there is none.
func lastDraft(ctx context.Context, tx *pg.Tx) (*policyDraft, error) {
	var d policyDraft
	err := tx.GetContext(ctx, &d, draftColumns+`order by draft_id desc limit 1`, tx.Plant)
	if errors.Is(err, sql.ErrNoRows) {
		return nil, nil
	}
	return &d, err
}

// addDraft stores a draft and puts it up for signing.
func addDraft(ctx context.Context, tx *pg.Tx, now sitePolicy, text, digest []byte) (r signoff.Record, err error) {
	w, err := draftSays(ctx, tx, now, text, digest)
	if err != nil {
		return r, err
	}
	var id int64
	const add = `insert into policy_draft (plant_id, digest, body, based_on_version, proposed_at, proposed_by)
		values ($1, $2, $3, $4, $5, $6) returning draft_id`
	if err := tx.GetContext(ctx, &id, add, tx.Plant, digest, text, now.version, tx.Now, tx.By.ID); err != nil {
		return r, fmt.Errorf("policy draft: %w", err)
	}
	subject := fmt.Sprintf("policy draft %d", id)
	r, err = signoff.Put(ctx, tx, signoff.Draft{Kind: signoff.Policy, ID: id, Stream: administration, Subjects: []string{subject}, What: w, Policy: now.version,
		Seats: []signoff.Seat{
			{Role: disposition.QualifiedPerson, Deed: disposition.WroteRule, Meaning: "has read what changes and answers for it"},
			{Role: disposition.PlantManager, Deed: disposition.ApprovedRule, Meaning: "puts it in force for the plant"},
		}})
	if err != nil {
		return r, err
	}
	return r, trail.Append(ctx, tx, trail.Entry{Stream: administration, Action: "policy.proposed", Subject: subject, Version: r.Version, After: w})
}

// draftSays is what is signed of a text.
func draftSays(ctx context.Context, tx *pg.Tx, now sitePolicy, text, digest []byte) (w signedPolicy, err error) {
	w = signedPolicy{BasedOn: now.version, SHA256: hex.EncodeToString(digest), Caution: caution}
	if w.Changes, err = policyChanges(now.Source, text); err != nil {
		return w, err
	}
	p, err := read.policy(text)
	if err != nil {
		return w, err
	}
	w.Rerouted, err = rerouted(ctx, tx, p)
	return w, err
}

// rerouted counts the open deviations with a lot that a policy routes otherwise.
func rerouted(ctx context.Context, tx *pg.Tx, p *document.Policy) (int, error) {
	t, err := tryOn(ctx, tx, p, openDeviations)
	if err != nil {
		return 0, err
	}
	of := map[DeviationID]bool{}
	for _, d := range t.Differences {
		if slices.Contains(d.What, "route") {
			of[d.Deviation] = true
		}
	}
	return len(of), nil
}

func init() {
	beforehand[signoff.Policy] = draftStands
	makers[signoff.Policy] = disposition.WroteRule
	then[signoff.Policy] = adoptDraft
}

// draftStands refuses to let a draft be signed that a newer one has taken the place
// of, or that is not about the policy in force any more.
func draftStands(ctx context.Context, tx *pg.Tx, r signoff.Record) error {
	if r.Complete() {
		return nil // in force, or was: that it is done is said elsewhere
	}
	d, err := getDraft(ctx, tx, r.ID)
	if err != nil {
		return err
	}
	switch d.state() {
	case DraftOutdated:
		return fault.New(fault.Refused, "draft-outdated", "policy draft %d was proposed after draft %d and takes its place", d.Newest, d.ID)
	case DraftMovedOn:
		return fault.New(fault.Refused, "policy-moved-on", "policy draft %d changes version %d, and version %d is in force by now: make a new draft", d.ID, d.BasedOn, d.InForce)
	}
	return nil
}

// adoptDraft puts a draft in force that everyone has signed. Whoever signs a policy
// owns the plant, so that what draftStands saw before the signature still holds.
func adoptDraft(ctx context.Context, tx *pg.Tx, _ *Deviation, r signoff.Record) error {
	d, err := getDraft(ctx, tx, r.ID)
	if err != nil {
		return err
	}
	_, err = adoptPolicy(ctx, tx, d.Text, &d.ID)
	return err
}
