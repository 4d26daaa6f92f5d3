package workflow

import (
	"bytes"
	"context"
	"crypto/sha256"
	"database/sql"
	"errors"
	"fmt"
	"sync"

	"lastgood/policy/document"
	"lastgood/policy/gs1"
	"lastgood/workflow/fault"
	"lastgood/workflow/pg"
	"lastgood/workflow/trail"
)

// sitePolicy is a version of the site's policy, read.
type sitePolicy struct {
	version int
	*document.Policy
	pinned pinned // what opened under earlier versions
}

// PutPolicy puts the first policy of a plant in force and returns its number,
// 1: there is nothing yet that it could change. The text that is in force already
// changes nothing. fault.Refused, "second-person-required": another text is in
// force, and ProposePolicy puts this one up for two people to sign. A text with
// problems is refused; document.Parse says where they are.
func (s *Service) PutPolicy(ctx context.Context, sc pg.Scope, text []byte) (version int, err error) {
	if err := understood(text); err != nil {
		return 0, err
	}
	err = s.db.InTx(ctx, sc, func(tx *pg.Tx) error {
		if err := tx.OwnPlant(ctx); err != nil {
			return err
		}
		last, body, err := lastPolicy(ctx, tx)
		switch {
		case err != nil:
			return err
		case last == 0:
			version, err = adoptPolicy(ctx, tx, text, nil)
			return err
		case !bytes.Equal(body, text):
			return fault.New(fault.Refused, "second-person-required", "version %d is in force and differs: propose this text, and two people put it in force", last)
		}
		version = last
		return nil
	})
	return version, err
}

// understood refuses a text with problems, and says the first.
func understood(text []byte) error {
	if _, problems := document.Parse(text); len(problems) > 0 {
		first := problems[0]
		return fault.New(fault.Invalid, first.Rule, "line %d: %s (%d problems in all)", first.Line, first.Detail, len(problems))
	}
	return nil
}

// adoptPolicy puts a text in force as the next version, whoever said that it may
// be; draft nil: nobody had to. Open deviations that were traced under another
// version become due for a new trace run. It needs OwnPlant.
func adoptPolicy(ctx context.Context, tx *pg.Tx, text []byte, draft *int64) (version int, err error) {
	p, err := read.policy(text)
	if err != nil {
		return 0, err
	}
	last, _, err := lastPolicy(ctx, tx)
	if err != nil {
		return 0, err
	}
	version = last + 1
	digest := sha256.Sum256(text)
	const add = `insert into policy_version (plant_id, policy_version, digest, body, recorded_at, recorded_by, draft_id)
		values ($1, $2, $3, $4, $5, $6, $7)`
	if _, err := tx.ExecContext(ctx, add, tx.Plant, version, digest[:], text, tx.Now, tx.By.ID, draft); err != nil {
		return 0, err
	}
	if err := putLimits(ctx, tx, version, p); err != nil {
		return 0, err
	}
	if err := touchPolicy(ctx, tx, version); err != nil {
		return 0, fmt.Errorf("deviations: %w", err)
	}
	why := ""
	if draft != nil {
		why = fmt.Sprintf("everyone has signed policy draft %d", *draft)
	}
	return version, trail.Append(ctx, tx, trail.Entry{Stream: administration, Action: "policy.put_in_force",
		Subject: "policy", Version: version, After: batchNote{Rows: len(p.Limits), SHA256: digest[:]}, Reason: why})
}

func lastPolicy(ctx context.Context, tx *pg.Tx) (version int, body []byte, err error) {
	var row struct {
		Version int    `db:"policy_version"`
		Body    []byte `db:"body"`
	}
	const last = `select policy_version, body from policy_version where plant_id = $1 order by policy_version desc limit 1`
	err = tx.GetContext(ctx, &row, last, tx.Plant)
	if errors.Is(err, sql.ErrNoRows) {
		return 0, nil, nil
	}
	return row.Version, row.Body, err
}

func putLimits(ctx context.Context, tx *pg.Tx, version int, p *document.Policy) error {
	const add = `insert into critical_limit (plant_id, name, policy_version, ordinal, kind, text, valid_from, valid_until)
		values ($1, $2, $3, $4, $5, $6, $7, $8)`
	for i, l := range p.Limits {
		if _, err := tx.ExecContext(ctx, add, tx.Plant, l.Name, version, i, l.Kind, l.Text, l.ValidFrom, l.ValidUntil); err != nil {
			return fmt.Errorf("limit %s: %w", l.Name, err)
		}
	}
	return nil
}

// currentPolicy returns the policy in force, with what opened under earlier ones.
// Without one nothing can be judged.
func currentPolicy(ctx context.Context, tx *pg.Tx) (sitePolicy, error) {
	p, err := policyInForce(ctx, tx)
	if err != nil {
		return p, err
	}
	p.pinned, err = loadPinned(ctx, tx, p.version)
	return p, err
}

// policyInForce is the policy in force for who judges no instrument by it.
func policyInForce(ctx context.Context, tx *pg.Tx) (sitePolicy, error) {
	version, body, err := lastPolicy(ctx, tx)
	if err != nil {
		return sitePolicy{}, err
	}
	if version == 0 {
		return sitePolicy{}, fault.New(fault.Refused, "no-policy", "the plant has no policy yet: put one in force first")
	}
	p, err := read.policy(body)
	if err != nil {
		return sitePolicy{}, fmt.Errorf("policy version %d: %w", version, err)
	}
	return sitePolicy{version: version, Policy: p}, nil
}

// policies keeps policies that were read, by their text: every command needs the
// one in force, and reading one takes longer than many commands do. A policy
// never changes once it was read.
type policies struct {
	mu   sync.Mutex
	kept map[[sha256.Size]byte]*document.Policy
}

// mostPolicies is how many are kept: with more plants than that some are read
// again.
const mostPolicies = 256

var read = policies{kept: map[[sha256.Size]byte]*document.Policy{}}

func (c *policies) policy(text []byte) (*document.Policy, error) {
	key := sha256.Sum256(text)
	c.mu.Lock()
	p := c.kept[key]
	c.mu.Unlock()
	if p != nil {
		return p, nil
	}
	p, problems := document.Parse(text)
	if len(problems) > 0 {
		return nil, errors.New(problems[0].Detail)
	}
	nameAsRecorded(p)
	c.mu.Lock()
	defer c.mu.Unlock()
	if len(c.kept) >= mostPolicies {
		clear(c.kept)
	}
	c.kept[key] = p
	return p, nil
}

// nameAsRecorded names the places of a policy as records name them: a GS1 key in
// whatever form is the same place.
func nameAsRecorded(p *document.Policy) {
	for _, l := range p.Limits {
		for i, place := range l.AppliesTo.Locations {
			if name, err := gs1.Mark(place, true); err == nil {
				l.AppliesTo.Locations[i] = name
			}
		}
	}
}
