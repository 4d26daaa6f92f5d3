package workflow

import (
	"context"
	"time"

	"lastgood/policy/disposition"
	"lastgood/workflow/actor"
	"lastgood/workflow/fault"
	"lastgood/workflow/person"
	"lastgood/workflow/pg"
	"lastgood/workflow/trail"
)

// AddPerson adds a person to the plant, with roles, and returns the code, shown
// this once, with which they set a password of their own. It takes no idempotency
// key: the answer would have to be kept, and with it the code.
func (s *Service) AddPerson(ctx context.Context, sc pg.Scope, p person.Identity, roles ...person.Grant) (oneTime string, err error) {
	err = s.db.InTx(ctx, sc, func(tx *pg.Tx) error {
		if err := administers(ctx, tx); err != nil {
			return err
		}
		if oneTime, err = person.Add(ctx, tx, p); err != nil {
			return err
		}
		for _, g := range roles {
			if err := person.GrantRole(ctx, tx, p.Code, g); err != nil {
				return err
			}
		}
		after := map[string]any{"name": p.Name, "title": p.Title}
		if len(roles) > 0 {
			after["roles"] = grantsInTrail(roles)
		}
		return administered(ctx, tx, trail.Entry{Action: "person.added", Subject: p.Code, After: after})
	})
	return oneTime, err
}

// ResetPerson takes somebody's password, ends their sessions and makes a new one-time
// code, shown this once; or records that a first administrator of two wants it. It
// takes no idempotency key, as AddPerson.
func (s *Service) ResetPerson(ctx context.Context, sc pg.Scope, code string) (r person.Resetting, err error) {
	err = s.db.InTx(ctx, sc, func(tx *pg.Tx) error {
		if err := administers(ctx, tx); err != nil {
			return err
		}
		if r, err = person.Reset(ctx, tx, code); err != nil {
			return err
		}
		e := trail.Entry{Action: r.Action(), Subject: code}
		switch {
		case !r.Until.IsZero():
			e.After = map[string]any{"second_administrator_until": r.Until.UTC()}
		case r.AskedBy != "":
			e.After = map[string]any{"asked_by": r.AskedBy}
		}
		return administered(ctx, tx, e)
	})
	return r, err
}

// GrantRole gives somebody a role.
func (s *Service) GrantRole(ctx context.Context, sc pg.Scope, code string, g person.Grant) error {
	return s.administer(ctx, sc, "grant role", []any{code, g}, func(tx *pg.Tx) error { return person.GrantRole(ctx, tx, code, g) },
		trail.Entry{Action: "role.granted", Subject: code, After: grantsInTrail([]person.Grant{g})[0]})
}

// EndRole ends a role of somebody now.
func (s *Service) EndRole(ctx context.Context, sc pg.Scope, code string, role disposition.Role) error {
	return s.administer(ctx, sc, "end role", []any{code, role}, func(tx *pg.Tx) error { return person.EndRole(ctx, tx, code, role) },
		trail.Entry{Action: "role.ended", Subject: code, Before: map[string]any{"role": role}})
}

// Depart says until when somebody is at the plant; zero: until now. Their
// sessions end then, and their code is never used again.
func (s *Service) Depart(ctx context.Context, sc pg.Scope, code string, until time.Time) error {
	after := map[string]any{"active_until": "now"}
	if !until.IsZero() {
		after["active_until"] = until.UTC()
	}
	return s.administer(ctx, sc, "depart", []any{code, until}, func(tx *pg.Tx) error { return person.Depart(ctx, tx, code, until) },
		trail.Entry{Action: "person.departed", Subject: code, After: after})
}

// Delegate records that one person stands in for another in a role for a time.
func (s *Service) Delegate(ctx context.Context, sc pg.Scope, d person.Delegation) error {
	after := map[string]any{"person": d.Person, "role": d.Role, "until": d.Until.UTC()}
	if !d.From.IsZero() {
		after["from"] = d.From.UTC()
	}
	qualificationInTrail(after, d.Qualification)
	return s.administer(ctx, sc, "delegate", d, func(tx *pg.Tx) error { return person.Delegate(ctx, tx, d) },
		trail.Entry{Action: "delegation.made", Subject: d.Deputy, After: after, Reason: d.Reason})
}

// People returns the plant's people whose code comes after another, in order of
// code; limit 0: all.
func (s *Service) People(ctx context.Context, sc pg.Scope, after string, limit int) ([]person.Person, error) {
	return ask(ctx, s, sc, func(tx *pg.Tx) ([]person.Person, error) { return person.List(ctx, tx, after, limit) })
}

// administer runs one change to people.
func (s *Service) administer(ctx context.Context, sc pg.Scope, what string, request any, change func(*pg.Tx) error, e trail.Entry) error {
	_, err := do(ctx, s, sc, what, request, statusDone, func(tx *pg.Tx) (struct{}, error) {
		if err := administers(ctx, tx); err != nil {
			return struct{}{}, err
		}
		if err := change(tx); err != nil {
			return struct{}{}, err
		}
		return struct{}{}, administered(ctx, tx, e)
	})
	return err
}

// administers refuses who may not change people: whoever is no person, and whoever
// is signed in as no administrator. The command line has no session: who runs it
// has the database in hand.
func administers(ctx context.Context, tx *pg.Tx) error {
	if tx.By.Kind != actor.Person {
		return fault.New(fault.Forbidden, "human-signature-required", "people are administered by a person who is signed in, never by a key")
	}
	if tx.By.Session == "" {
		return nil
	}
	_, err := person.CapacityOf(ctx, tx, tx.By.ID, disposition.Administrator)
	return err
}

// administered records a change to people: that whoever made it administered, and
// what it was.
func administered(ctx context.Context, tx *pg.Tx, e trail.Entry) error {
	e.Stream = administration
	if err := person.Administered(ctx, tx, e.Action, e.Subject); err != nil {
		return err
	}
	return trail.Append(ctx, tx, e)
}

// administration is the stream of people and keys.
const administration = "administration"

func grantsInTrail(list []person.Grant) []map[string]any {
	out := make([]map[string]any, len(list))
	for i, g := range list {
		out[i] = map[string]any{"role": g.Role}
		if !g.From.IsZero() {
			out[i]["from"] = g.From.UTC()
		}
		if g.Until != nil {
			out[i]["until"] = g.Until.UTC()
		}
		qualificationInTrail(out[i], g.Qualification)
	}
	return out
}

func qualificationInTrail(m map[string]any, q person.Qualification) {
	if q.Kind == "" {
		return
	}
	m["qualification"], m["qualification_reference"] = q.Kind, q.Reference
	if q.Until != nil {
		m["qualification_until"] = q.Until.UTC()
	}
}
