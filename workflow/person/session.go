package person

import (
	"context"
	"crypto/rand"
	"encoding/base64"
	"fmt"
	"strconv"
	"strings"
	"time"

	"lastgood/policy/disposition"
	"lastgood/workflow/fault"
	"lastgood/workflow/pg"
)

// How long a session lasts: unused, in all, and between two notes of its use,
// which cost a write. It may end by so much sooner for want of use, never later.
const (
	idleLasts    = 15 * time.Minute
	sessionLasts = 12 * time.Hour
	noteEvery    = time.Minute
)

// Session is that somebody is signed in.
type Session struct {
	Identity
	ID              string // public; not the token
	Roles           []Acting
	AuthenticatedAt time.Time // when they last gave their password
	IdleEnd         time.Time // if nothing more is asked
	End             time.Time
}

// ConfirmedAt is the session after its person gave their password once more.
func (s Session) ConfirmedAt(at time.Time) Session {
	s.AuthenticatedAt, s.IdleEnd = at, at.Add(idleLasts)
	return s
}

// Acting is a role in which the person of a session may act now.
type Acting struct {
	Role disposition.Role
	For  string // whom they stand in for; empty: the role is their own
}

// Prefix tells a session of ours from other secrets, for people and for scanners.
const Prefix = "ls_"

// Plausible says whether a token can be one of ours at all.
func Plausible(token string) bool {
	return strings.HasPrefix(token, Prefix) && len(token) == len(Prefix)+43
}

// Begin begins a session and returns its token, which is shown this once.
func (c Credential) Begin(ctx context.Context, tx *pg.Tx) (token string, err error) {
	b := make([]byte, 32)
	_, _ = rand.Read(b) // never fails: it ends the program instead
	token = Prefix + base64.RawURLEncoding.EncodeToString(b)
	const add = `insert into person_session (plant_id, person_id, digest, started_at, authenticated_at, seen_at, ends_at) values ($1, $2, $3, $4, $4, $4, $5)`
	if _, err := tx.ExecContext(ctx, add, tx.Plant, c.person, digest(token), tx.Now, tx.Now.Add(sessionLasts)); err != nil {
		return "", fmt.Errorf("session: %w", err)
	}
	return token, nil
}

// Find returns the session of a token, its plant, and whether its use is to be
// noted. fault.Unauthenticated: there is none, or it has ended.
func Find(ctx context.Context, db *pg.DB, token string) (s Session, plant pg.PlantID, note bool, err error) {
	f, err := db.FindSession(ctx, digest(token))
	if err != nil {
		return Session{}, 0, false, err
	}
	now := db.Now()
	s = Session{Identity: Identity{f.Code, f.Name, f.Title}, ID: strconv.FormatInt(f.ID, 10), AuthenticatedAt: f.AuthenticatedAt.UTC(),
		IdleEnd: f.SeenAt.UTC().Add(idleLasts), End: f.EndsAt.UTC()}
	switch {
	case f.EndedAt != nil, f.ActiveUntil != nil && !f.ActiveUntil.After(now):
		return Session{}, 0, false, ended("it was ended")
	case !s.End.After(now):
		return Session{}, 0, false, ended("sessions last 12 hours")
	case !s.IdleEnd.After(now):
		return Session{}, 0, false, ended("it was not used for 15 minutes")
	}
	for i, r := range f.Roles {
		s.Roles = append(s.Roles, Acting{disposition.Role(r), f.For[i]})
	}
	note = now.Sub(f.SeenAt) >= noteEvery
	if note {
		s.IdleEnd = now.UTC().Add(idleLasts)
	}
	return s, f.Plant, note, nil
}

func ended(why string) error {
	return fault.New(fault.Unauthenticated, "session-ended", "the session has ended: %s; sign in again", why)
}

// Seen notes that a session is used.
func Seen(ctx context.Context, tx *pg.Tx) error {
	return change(ctx, tx, `seen_at = greatest(seen_at, $3)`)
}

// Confirmed notes that the person of the session has just proved who they are.
func Confirmed(ctx context.Context, tx *pg.Tx) error {
	return change(ctx, tx, `authenticated_at = $3, seen_at = $3`)
}

// SignedOut ends the session.
func SignedOut(ctx context.Context, tx *pg.Tx) error {
	return change(ctx, tx, `ended_at = $3`)
}

// change changes the session by which tx acts.
func change(ctx context.Context, tx *pg.Tx, set string) error {
	id, err := strconv.ParseInt(tx.By.Session, 10, 64)
	if err != nil {
		return fault.New(fault.Unauthenticated, "unknown-session", "this takes a session: sign in")
	}
	q := `update person_session set ` + set + ` where plant_id = $1 and session_id = $2 and ended_at is null`
	res, err := tx.ExecContext(ctx, q, tx.Plant, id, tx.Now)
	if err != nil {
		return fmt.Errorf("session: %w", err)
	}
	if n, _ := res.RowsAffected(); n == 0 {
		return ended("it was ended")
	}
	return nil
}

// endSessions ends all of somebody's sessions.
func endSessions(ctx context.Context, tx *pg.Tx, id int) error {
	const end = `update person_session set ended_at = $3 where plant_id = $1 and person_id = $2 and ended_at is null`
	if _, err := tx.ExecContext(ctx, end, tx.Plant, id, tx.Now); err != nil {
		return fmt.Errorf("end sessions: %w", err)
	}
	return nil
}
