package workflow

import (
	"cmp"
	"context"
	"time"

	"lastgood/workflow/actor"
	"lastgood/workflow/fault"
	"lastgood/workflow/person"
	"lastgood/workflow/pg"
	"lastgood/workflow/trail"
)

// SignIn begins a session of somebody who gives their password, and returns its
// token, which is shown this once. A plant and a person that are not known are
// refused as a wrong password is, and take as long.
func (s *Service) SignIn(ctx context.Context, plant, code, password string) (token string, session person.Session, err error) {
	sc, err := s.stranger(ctx, plant)
	if err != nil {
		return "", session, err
	}
	err = s.prove(ctx, sc, code, password, func(tx *pg.Tx, c person.Credential) error {
		token, err = c.Begin(ctx, tx)
		return err
	})
	if err != nil {
		return "", session, err
	}
	session, _, _, err = person.Find(ctx, s.db, token)
	return token, session, err
}

// stranger is the scope of somebody who has not proved who they are; of no plant,
// if there is none of that name.
func (s *Service) stranger(ctx context.Context, plant string) (pg.Scope, error) {
	id, _, err := s.db.PlantNamed(ctx, plant)
	return pg.Scope{Plant: id, By: actor.Engine}, err
}

// ConfirmSession is given the password once more and returns when that was: the
// person of the session has just proved who they are. Wrong ones count towards
// the lock, as at signing in; the one that locks also ends the session, at which
// somebody else may be sitting.
func (s *Service) ConfirmSession(ctx context.Context, sc pg.Scope, password string) (at time.Time, err error) {
	err = s.prove(ctx, sc, sc.By.ID, password, func(tx *pg.Tx, _ person.Credential) error {
		at = tx.Now
		return person.Confirmed(ctx, tx)
	})
	return at, err
}

// prove runs then, in a transaction, if a password is the person's. A refusal
// leaves the count of wrong entries behind: it is committed.
func (s *Service) prove(ctx context.Context, sc pg.Scope, code, password string, then func(*pg.Tx, person.Credential) error) error {
	c, err := ask(ctx, s, sc, func(tx *pg.Tx) (person.Credential, error) { return person.Look(ctx, tx, code) })
	if err != nil {
		return err
	}
	right, err := c.Proves(ctx, password) // before the transaction: it takes long
	if err != nil {
		return err
	}
	return s.counted(ctx, sc, c, right, then)
}

// counted runs then if what was given was right, and else counts it as wrong.
// Entries that come at the same time are counted one after the other, so that no
// more of them are tried than one at a time could be.
func (s *Service) counted(ctx context.Context, sc pg.Scope, c person.Credential, right bool, then func(*pg.Tx, person.Credential) error) error {
	var refused error
	err := s.db.InTx(ctx, sc, func(tx *pg.Tx) error {
		refused = nil // of the try before
		now, err := c.Again(ctx, tx)
		switch {
		case err != nil:
			return err
		case !now.Known():
			refused = person.Wrong()
			return nil
		}
		if refused = now.Unlocked(tx.Now); refused != nil {
			return nil
		}
		if !right {
			refused = person.Wrong()
			return wrongEntry(ctx, tx, now)
		}
		if err := now.Succeeded(ctx, tx); err != nil {
			return err
		}
		return then(tx, now)
	})
	return cmp.Or(err, refused)
}

// wrongEntry counts a wrong entry, and tells the trail of the one that locks.
func wrongEntry(ctx context.Context, tx *pg.Tx, c person.Credential) error {
	locked, err := c.Failed(ctx, tx)
	if err != nil || !locked {
		return err
	}
	if tx.By.Session != "" {
		if err := person.SignedOut(ctx, tx); err != nil && fault.KindOf(err) != fault.Unauthenticated {
			return err
		}
	}
	return trail.Append(ctx, tx, trail.Entry{Stream: administration, Action: "sign-in.locked", Subject: c.Code(),
		Reason: "too many wrong entries"})
}

// SetPassword sets a password of somebody's own, for the one-time code that an
// administrator gave them. The code is used up by it, and is not by a password
// that is refused.
func (s *Service) SetPassword(ctx context.Context, plant, code, oneTime, password string) error {
	sc, err := s.stranger(ctx, plant)
	if err != nil {
		return err
	}
	c, err := ask(ctx, s, sc, func(tx *pg.Tx) (person.Credential, error) { return person.Look(ctx, tx, code) })
	if err != nil {
		return err
	}
	if err := c.Unlocked(s.db.Now()); err != nil {
		return err
	}
	right, err := c.Opens(oneTime, s.db.Now())
	if err != nil {
		return err
	}
	var kept string
	if right {
		if kept, err = c.Keep(ctx, password); err != nil { // before the transaction: it takes long
			return err
		}
	}
	return s.counted(ctx, sc, c, right, func(tx *pg.Tx, now person.Credential) error {
		if err := now.Set(ctx, tx, kept); err != nil {
			return err
		}
		tx.By = actor.Actor{ID: code, Kind: actor.Person} // the code proved who they are
		return trail.Append(ctx, tx, trail.Entry{Stream: administration, Action: "password.set", Subject: code})
	})
}

// SignOut ends the session by which somebody acts.
func (s *Service) SignOut(ctx context.Context, sc pg.Scope) error {
	return s.db.InTx(ctx, sc, func(tx *pg.Tx) error { return person.SignedOut(ctx, tx) })
}

// AuthenticatePerson returns for whom and as whom the holder of a session's token
// acts. fault.Unauthenticated: the session is not known, or has ended.
func (s *Service) AuthenticatePerson(ctx context.Context, token string) (pg.Scope, person.Session, error) {
	if !person.Plausible(token) {
		return pg.Scope{}, person.Session{}, fault.New(fault.Unauthenticated, "unknown-session", "this session is not known: sign in")
	}
	session, plant, note, err := person.Find(ctx, s.db, token)
	if err != nil {
		return pg.Scope{}, person.Session{}, err
	}
	sc := pg.Scope{Plant: plant, By: actor.Actor{ID: session.Code, Kind: actor.Person, AuthenticatedAt: session.AuthenticatedAt, Session: session.ID}}
	if note {
		if err := s.db.InTx(ctx, sc, func(tx *pg.Tx) error { return person.Seen(ctx, tx) }); err != nil {
			return pg.Scope{}, person.Session{}, err
		}
	}
	return sc, session, nil
}
