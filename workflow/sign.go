package workflow

import (
	"context"
	"encoding/hex"
	"fmt"
	"slices"
	"strings"
	"time"

	"lastgood/policy/disposition"
	"lastgood/workflow/actor"
	"lastgood/workflow/fault"
	"lastgood/workflow/person"
	"lastgood/workflow/pg"
	"lastgood/workflow/signoff"
	"lastgood/workflow/trail"
)

// recently is how long ago whoever signs may have proved who they are (design
// notes on signing, E-021).
const recently = 15 * time.Minute

// ToSign names a record as it was shown to whoever signs it.
type ToSign struct {
	Kind   signoff.Kind `json:"kind"`
	ID     int64        `json:"id"`
	SHA256 string       `json:"sha256"` // of the version that was shown
}

// Sign gives one person's signature in one role to records, all of them or none.
// Each is signed for the very version that was shown: one that has changed since
// is refused. When everyone has signed, what the record is about happens.
func (s *Service) Sign(ctx context.Context, sc pg.Scope, role disposition.Role, note string, list []ToSign) ([]signoff.Record, error) {
	request := map[string]any{"role": role, "note": note, "records": list}
	return do(ctx, s, sc, "sign", request, statusCreated, func(tx *pg.Tx) ([]signoff.Record, error) {
		if err := mayEverSign(tx); err != nil {
			return nil, err
		}
		if slices.ContainsFunc(list, func(t ToSign) bool { return t.Kind == signoff.Policy }) { // before any deviation: locks have an order
			if err := tx.OwnPlant(ctx); err != nil {
				return nil, err
			}
		}
		var out []signoff.Record
		var bad fault.Rows
		for i, t := range list {
			r, err := sign(ctx, tx, role, note, t)
			if e, ok := err.(*fault.Error); ok {
				bad.Add(i, e)
				continue
			}
			if err != nil {
				return nil, err
			}
			out = append(out, r)
		}
		switch {
		case len(bad) == 1 && len(list) == 1:
			return nil, bad[0].Error
		case bad != nil:
			return nil, bad
		}
		return out, nil
	})
}

func mayEverSign(tx *pg.Tx) error {
	switch {
	case tx.By.Kind != actor.Person:
		return fault.New(fault.Forbidden, "human-signature-required", "a person signs, never a key")
	case tx.Now.Sub(tx.By.AuthenticatedAt) > recently:
		return fault.New(fault.Unauthenticated, "step-up-required", "enter your password again: a signature needs that within %d minutes", int(recently.Minutes()))
	}
	return nil
}

func sign(ctx context.Context, tx *pg.Tx, role disposition.Role, note string, t ToSign) (r signoff.Record, err error) {
	if r, err = signoff.Get(ctx, tx, t.Kind, t.ID); err != nil {
		return r, err
	}
	var d *Deviation
	if r.Deviation != 0 {
		locked, err := lockDeviation(ctx, tx, DeviationID(r.Deviation))
		if err != nil {
			return r, err
		}
		d = &locked
		if r, err = signoff.Get(ctx, tx, t.Kind, t.ID); err != nil {
			return r, err
		}
	}
	if f := beforehand[r.Kind]; f != nil {
		if err := f(ctx, tx, r); err != nil {
			return r, err
		}
	}
	if left, err := alive(ctx, tx, []signoff.Record{r}); err != nil {
		return r, err
	} else if len(left) == 0 {
		return r, fault.New(fault.Refused, "not-standing", "%s %d is not to be signed: what it was about has been taken back or is done", t.Kind, t.ID)
	}
	if err := upToDate(ctx, tx, d, r); err != nil {
		return r, err
	}
	if hex.EncodeToString(r.Digest) != strings.ToLower(t.SHA256) {
		return r, fault.New(fault.Conflict, "record-changed", "%s %d has changed since it was shown to you: it is version %d now; look at it again", t.Kind, t.ID, r.Version)
	}
	seat, err := r.Next(role)
	if err != nil {
		return r, err
	}
	capacity, err := person.CapacityOf(ctx, tx, tx.By.ID, role)
	if err != nil {
		return r, err
	}
	if err := apart(ctx, tx, d, r, r.Seats[seat], capacity, note); err != nil {
		return r, err
	}
	sig := signoff.Signature{Kind: t.Kind, Record: t.ID, Version: r.Version, Seat: seat, Person: tx.By.ID, Name: capacity.Name, Title: capacity.Title,
		Role: role, Deed: r.Seats[seat].Deed, Meaning: r.Seats[seat].Meaning, Qualification: capacity.Qualification, For: capacity.For, Note: note,
		SignedAt: tx.Now, AuthenticatedAt: tx.By.AuthenticatedAt, Session: tx.By.Session}
	if err := signoff.Add(ctx, tx, sig); err != nil {
		return r, err
	}
	if r, err = signoff.Get(ctx, tx, t.Kind, t.ID); err != nil {
		return r, err
	}
	err = trail.Append(ctx, tx, trail.Entry{Stream: streamOf(r), Action: "signature.applied", Subject: fmt.Sprintf("%s %d", r.Kind, r.ID), Version: r.Version,
		After: map[string]any{"record_sha256": r.Digest, "role": role, "meaning": sig.Meaning, "printed_name": sig.Name, "title": sig.Title,
			"qualification": sig.Qualification, "acts_for": sig.For, "authenticated_at": sig.AuthenticatedAt}, Reason: note})
	if err != nil {
		return r, err
	}
	return r, signed(ctx, tx, d, r)
}

// upToDate refuses a closing that is made of records of which one has changed since.
func upToDate(ctx context.Context, tx *pg.Tx, d *Deviation, r signoff.Record) error {
	if r.Kind != signoff.Closing {
		return nil
	}
	c, err := docketOf(ctx, tx, *d)
	if err != nil {
		return err
	}
	same, err := c.closingDraft("").Is(r)
	if err == nil && !same {
		err = fault.New(fault.Conflict, "record-changed", "what is closed has changed: ask to close again, with POST /v1/deviations/%d/closing", d.ID)
	}
	return err
}

// streamOf is the stream of the trail that tells of a record.
func streamOf(r signoff.Record) string {
	if r.Deviation == 0 {
		return "administration"
	}
	return Deviation{ID: DeviationID(r.Deviation)}.stream()
}

// beforehand refuses to let a record of a kind be signed, and says why more exactly
// than that it does not stand; none: nothing more is known of it.
var beforehand = map[signoff.Kind]func(context.Context, *pg.Tx, signoff.Record) error{}

// makers is what whoever made a record of a kind did by that; none: nothing that
// keeps them from signing it.
var makers = map[signoff.Kind]disposition.Deed{}

// then is what happens when everyone has signed a record of a kind; none: it is
// only looked at by the guards.
var then = map[signoff.Kind]func(context.Context, *pg.Tx, *Deviation, signoff.Record) error{}

// signed lets happen what a record is about, if everyone has signed it.
func signed(ctx context.Context, tx *pg.Tx, d *Deviation, r signoff.Record) error {
	if f := then[r.Kind]; f != nil && r.Complete() {
		if err := f(ctx, tx, d, r); err != nil {
			return err
		}
	}
	if d == nil {
		return nil
	}
	return advance(ctx, tx, d)
}

// apart refuses a signature that one person must not give beside another of
// their deeds, over the whole history of the deviation.
func apart(ctx context.Context, tx *pg.Tx, d *Deviation, r signoff.Record, seat signoff.Seat, who person.Capacity, note string) error {
	history, err := deedsOf(ctx, tx, d)
	if err != nil {
		return err
	}
	history = append(history, deedsAbout(d, r)...)
	act := disposition.Act{Deed: seat.Deed, By: tx.By.ID, For: who.For, Role: seat.Role, Disposition: r.Disposition, Subjects: r.Subjects}
	for _, c := range disposition.Conflicts(append(history, act)) {
		if c.First != len(history) && c.Second != len(history) {
			continue
		}
		if c.Exception == disposition.WithNote && strings.TrimSpace(note) != "" {
			continue
		}
		return fault.New(fault.Forbidden, "sod-conflict", "%s (%s): %s", c.Why, cmpOr(c.Clause, c.Rule), c.Person)
	}
	return nil
}

// deedsAbout is who did what about a record that the history of a deviation does
// not tell: who made it, and, where it belongs to none, who has signed it.
func deedsAbout(d *Deviation, r signoff.Record) []disposition.Act {
	var out []disposition.Act
	if deed := makers[r.Kind]; deed != "" {
		out = append(out, disposition.Act{Deed: deed, By: r.MadeBy, Subjects: r.Subjects})
	}
	if d == nil {
		for _, s := range r.Signatures {
			out = append(out, disposition.Act{Deed: s.Deed, By: s.Person, For: s.For, Role: s.Role, Disposition: r.Disposition, Subjects: r.Subjects})
		}
	}
	return out
}

func cmpOr(a, b string) string {
	if a != "" {
		return a
	}
	return b
}

// deedsOf is who did what in a deviation: who checked and who verified, who
// evaluated, who entered the readings that lots rest on, and every signature ever
// given.
func deedsOf(ctx context.Context, tx *pg.Tx, d *Deviation) ([]disposition.Act, error) {
	admins, err := person.Administrators(ctx, tx)
	if err != nil {
		return nil, err
	}
	var out []disposition.Act
	for _, a := range admins {
		out = append(out, disposition.Act{Deed: disposition.Administered, By: a})
	}
	if d == nil {
		return out, nil
	}
	own, err := ownDeeds(ctx, tx, *d)
	if err != nil {
		return nil, err
	}
	out = append(out, own...)
	list, err := signoff.All(ctx, tx, int64(d.ID))
	if err != nil {
		return nil, err
	}
	records := map[string]signoff.Record{}
	for _, s := range list {
		name := fmt.Sprint(s.Kind, s.Record)
		if _, ok := records[name]; !ok {
			if records[name], err = signoff.Get(ctx, tx, s.Kind, s.Record); err != nil {
				return nil, err
			}
		}
		r := records[name]
		out = append(out, disposition.Act{Deed: s.Deed, By: s.Person, For: s.For, Role: s.Role, Disposition: r.Disposition, Subjects: r.Subjects})
	}
	return out, nil
}

// ownDeeds are those that no signature stands for.
func ownDeeds(ctx context.Context, tx *pg.Tx, d Deviation) ([]disposition.Act, error) {
	var out []disposition.Act
	if d.Evaluator != nil {
		out = append(out, disposition.Act{Deed: disposition.OwnedDeviation, By: *d.Evaluator}, disposition.Act{Deed: disposition.Evaluated, By: *d.Evaluator, Subjects: []string{"evaluation"}})
	}
	if d.CheckID != nil {
		var c struct {
			By       string `db:"performed_by"`
			Verified string `db:"verified_by"`
		}
		const check = `select performed_by, verified_by from accuracy_check where plant_id = $1 and check_id = $2`
		if err := tx.GetContext(ctx, &c, check, tx.Plant, *d.CheckID); err != nil {
			return nil, err
		}
		subject := []string{fmt.Sprintf("check %d", *d.CheckID)}
		if c.By != "" {
			out = append(out, disposition.Act{Deed: disposition.CheckedInstrument, By: c.By, Subjects: subject})
		}
		if c.Verified != "" {
			out = append(out, disposition.Act{Deed: disposition.VerifiedCheck, By: c.Verified, Subjects: subject})
		}
	}
	did, err := reporters(ctx, tx, d)
	if err != nil {
		return nil, err
	}
	entered, err := operators(ctx, tx, d)
	return slices.Concat(out, did, entered), err
}

// reporters are who reported that a disposition was carried out: they answer for
// it, and neither verify nor witness that it was.
func reporters(ctx context.Context, tx *pg.Tx, d Deviation) ([]disposition.Act, error) {
	const q = `
select distinct e.reported_by, x.kind, case p.label when '' then l.code else l.code || ' / ' || p.label end as portion
from execution e join disposition x using (plant_id, disposition_id) join portion p using (plant_id, portion_id) join lot l using (plant_id, lot_id)
where e.plant_id = $1 and x.deviation_id = $2 order by 1, 2, 3`
	var rows []struct {
		By      string                  `db:"reported_by"`
		Kind    disposition.Disposition `db:"kind"`
		Portion string                  `db:"portion"`
	}
	if err := tx.SelectContext(ctx, &rows, q, tx.Plant, d.ID); err != nil {
		return nil, fmt.Errorf("reporters: %w", err)
	}
	out := make([]disposition.Act, len(rows))
	for i, r := range rows {
		out[i] = disposition.Act{Deed: disposition.Executed, By: r.By, Disposition: r.Kind, Subjects: []string{r.Portion}}
	}
	return out, nil
}

// operators are who entered the readings of lots in doubt with the instrument.
func operators(ctx context.Context, tx *pg.Tx, d Deviation) ([]disposition.Act, error) {
	const q = `
select distinct case p.label when '' then l.code else l.code || ' / ' || p.label end as portion, c.operator from deviation_lot k join lot_span s on s.plant_id = $1 and s.lot_id = k.lot_id and s.instrument_id = $3
join reading r on r.plant_id = $1 and r.instrument_id = $3 and r.taken_at between s.first_at and s.last_at and r.lot_id = k.lot_id
join reading_context c on c.plant_id = $1 and c.context_id = r.context_id
join lot l on l.plant_id = $1 and l.lot_id = k.lot_id join portion p on p.plant_id = $1 and p.lot_id = k.lot_id
where k.plant_id = $1 and k.deviation_id = $2 and c.operator <> ''`
	var rows []struct {
		Portion  string `db:"portion"`
		Operator string `db:"operator"`
	}
	if err := tx.SelectContext(ctx, &rows, q, tx.Plant, d.ID, d.Instrument); err != nil {
		return nil, fmt.Errorf("operators: %w", err)
	}
	var out []disposition.Act
	for _, r := range rows {
		i := slices.IndexFunc(out, func(a disposition.Act) bool { return a.By == r.Operator })
		if i < 0 {
			out = append(out, disposition.Act{Deed: disposition.EnteredReading, By: r.Operator})
			i = len(out) - 1
		}
		out[i].Subjects = append(out[i].Subjects, r.Portion)
	}
	return out, nil
}
