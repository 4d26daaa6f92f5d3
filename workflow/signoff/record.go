// Package signoff owns what people sign and their signatures. A record is a
// thing to be decided, as canonical JSON with the seats of those who have to
// sign it. Whatever of it changes makes a new version; a signature counts for the
// version that it was given to, so that new evidence asks again for what it
// changed and for nothing else. Nothing here is ever altered or deleted.
package signoff

import (
	"bytes"
	"context"
	"crypto/sha256"
	"database/sql"
	"errors"
	"fmt"
	"time"

	"github.com/go-json-experiment/json"
	"github.com/go-json-experiment/json/jsontext"

	"lastgood/policy/disposition"
	"lastgood/workflow/fault"
	"lastgood/workflow/pg"
	"lastgood/workflow/trail"
)

// Kind is what sort of thing is signed.
type Kind string

// The kinds.
const (
	Disposition  Kind = "disposition"  // what becomes of a portion
	Execution    Kind = "execution"    // that it was carried out
	Lift         Kind = "lift"         // a hold that nothing asks for any more
	Narrowing    Kind = "narrowing"    // a lot taken out of a deviation
	Void         Kind = "void"         // a test result that does not count
	Correction   Kind = "correction"   // the corrective action, verified
	Return       Kind = "return"       // an instrument back in use
	Reanalysis   Kind = "reanalysis"   // what became of the plan
	Review       Kind = "review"       // of the records, within their clocks
	Notification Kind = "notification" // whether an authority must be told
	Recall       Kind = "recall"       // whether to retrieve what has left
	Balance      Kind = "balance"      // what is unaccounted, within tolerance
	Cancellation Kind = "cancellation" // the check was no check
	Closing      Kind = "closing"
	Reopening    Kind = "reopening"
	Policy       Kind = "policy" // a version of the site's policy
)

// Kinds are all of them.
var Kinds = []Kind{Disposition, Execution, Lift, Narrowing, Void, Correction, Return, Reanalysis, Review, Notification, Recall, Balance,
	Cancellation, Closing, Reopening, Policy}

// Seat is one who has to sign. Seats are signed in their order.
type Seat struct {
	Role    disposition.Role `json:"role"`
	Deed    disposition.Deed `json:"deed"`
	Meaning string           `json:"meaning"` // a sentence without its subject
}

// Draft is a record as its owner says it stands now.
type Draft struct {
	Kind      Kind
	ID        int64
	Deviation int64 // 0: none
	Stream    string
	// Subjects are what the signatures are about, for who may not sign twice:
	// portions, a check, a standard. Empty: all of the deviation.
	Subjects []string
	// Disposition is what a proposal or an approval is of; empty for other kinds.
	Disposition disposition.Disposition
	What        any // what is signed, and nothing else: any change of it voids signatures
	Seats       []Seat
	Run, Policy int    // that it rests on; 0: none. Another run with the same content is no change.
	Reason      string // why it changes
}

// body is a record as it is digested.
type body struct {
	Kind        Kind                    `json:"kind"`
	ID          int64                   `json:"id"`
	Deviation   int64                   `json:"deviation,omitzero"`
	Subjects    []string                `json:"subjects,omitempty"`
	Disposition disposition.Disposition `json:"disposition,omitzero"`
	What        jsontext.Value          `json:"what"`
	Seats       []Seat                  `json:"signers"`
}

// Record is one version of a record.
type Record struct {
	Kind        Kind
	ID          int64
	Version     int
	Deviation   int64
	Subjects    []string
	Disposition disposition.Disposition
	What        jsontext.Value
	Seats       []Seat
	Digest      []byte
	Body        []byte
	Run, Policy int
	MadeAt      time.Time
	MadeBy      string
	Reason      string
	Signatures  []Signature // of this version, by seat
}

// Open returns the seats that nobody has signed yet.
func (r Record) Open() []Seat {
	var out []Seat
	for i, s := range r.Seats {
		if !r.signed(i) {
			out = append(out, s)
		}
	}
	return out
}

func (r Record) signed(seat int) bool {
	for _, s := range r.Signatures {
		if s.Seat == seat {
			return true
		}
	}
	return false
}

// Complete says whether everyone has signed. A record that nobody has to sign is
// never complete: nothing is decided by nobody.
func (r Record) Complete() bool { return len(r.Seats) > 0 && len(r.Open()) == 0 }

// text is the draft as it is digested, in canonical form.
func (d Draft) text() (jsontext.Value, error) {
	what, err := json.Marshal(d.What, json.Deterministic(true))
	if err != nil {
		return nil, fmt.Errorf("record %s %d: %w", d.Kind, d.ID, err)
	}
	text, err := json.Marshal(body{d.Kind, d.ID, d.Deviation, d.Subjects, d.Disposition, what, d.Seats}, json.Deterministic(true))
	if err != nil {
		return nil, fmt.Errorf("record %s %d: %w", d.Kind, d.ID, err)
	}
	v := jsontext.Value(text)
	if err := v.Canonicalize(); err != nil {
		return nil, fmt.Errorf("record %s %d: %w", d.Kind, d.ID, err)
	}
	return v, nil
}

// Is says whether a record says what the draft says: Put would change nothing.
func (d Draft) Is(r Record) (bool, error) {
	v, err := d.text()
	if err != nil {
		return false, err
	}
	digest := sha256.Sum256(v)
	return bytes.Equal(r.Digest, digest[:]), nil
}

// Put brings a record up to what it is now and returns it with its signatures. If
// nothing of it changed, nothing happens; else there is a new version that has
// none, and the trail says which signatures the change outdated.
func Put(ctx context.Context, tx *pg.Tx, d Draft) (Record, error) {
	v, err := d.text()
	if err != nil {
		return Record{}, err
	}
	digest := sha256.Sum256(v)
	last, err := Get(ctx, tx, d.Kind, d.ID)
	switch {
	case errors.Is(err, fault.NotFound):
	case err != nil:
		return last, err
	case string(last.Digest) == string(digest[:]):
		return last, nil
	}
	const add = `insert into signed_record (plant_id, kind, record_id, version, deviation_id, digest, body, run_number, policy_version,
		made_at, made_by, reason) values ($1, $2, $3, $4, nullif($5::bigint, 0), $6, $7, nullif($8::int, 0), nullif($9::int, 0), $10, $11, $12)`
	_, err = tx.ExecContext(ctx, add, tx.Plant, d.Kind, d.ID, last.Version+1, d.Deviation, digest[:], []byte(v), d.Run, d.Policy,
		tx.Now, tx.By.ID, d.Reason)
	if err != nil {
		return last, fmt.Errorf("record %s %d: %w", d.Kind, d.ID, err)
	}
	if len(last.Signatures) > 0 {
		if err := outdated(ctx, tx, d, last); err != nil {
			return last, err
		}
	}
	return Get(ctx, tx, d.Kind, d.ID)
}

// outdated tells the trail whose signatures a change outdates.
func outdated(ctx context.Context, tx *pg.Tx, d Draft, last Record) error {
	var who []string
	for _, s := range last.Signatures {
		who = append(who, s.Person)
	}
	return trail.Append(ctx, tx, trail.Entry{Stream: d.Stream, Action: "signature.outdated", Subject: fmt.Sprintf("%s %d", d.Kind, d.ID),
		Version: last.Version + 1, Before: map[string]any{"version": last.Version, "signed_by": who}, Reason: d.Reason})
}

const columns = `select kind, record_id, version, coalesce(deviation_id, 0) as deviation_id, digest, body, coalesce(run_number, 0) as run_number,
	coalesce(policy_version, 0) as policy_version, made_at, made_by, reason from signed_record r where plant_id = $1 and `

const newest = `version = (select max(version) from signed_record n where n.plant_id = r.plant_id and n.kind = r.kind and n.record_id = r.record_id)`

type row struct {
	Kind      Kind      `db:"kind"`
	ID        int64     `db:"record_id"`
	Version   int       `db:"version"`
	Deviation int64     `db:"deviation_id"`
	Digest    []byte    `db:"digest"`
	Body      []byte    `db:"body"`
	Run       int       `db:"run_number"`
	Policy    int       `db:"policy_version"`
	MadeAt    time.Time `db:"made_at"`
	MadeBy    string    `db:"made_by"`
	Reason    string    `db:"reason"`
}

func (r row) record() (Record, error) {
	var b body
	if err := json.Unmarshal(r.Body, &b); err != nil {
		return Record{}, fmt.Errorf("record %s %d: %w", r.Kind, r.ID, err)
	}
	return Record{Kind: r.Kind, ID: r.ID, Version: r.Version, Deviation: r.Deviation, Subjects: b.Subjects, Disposition: b.Disposition,
		What: b.What, Seats: b.Seats, Digest: r.Digest, Body: r.Body, Run: r.Run, Policy: r.Policy, MadeAt: r.MadeAt, MadeBy: r.MadeBy, Reason: r.Reason}, nil
}

// Get returns the newest version of a record, with its signatures. fault.NotFound:
// there is no such record.
func Get(ctx context.Context, tx *pg.Tx, kind Kind, id int64) (Record, error) {
	var r row
	err := tx.GetContext(ctx, &r, columns+`kind = $2 and record_id = $3 order by version desc limit 1`, tx.Plant, kind, id)
	if errors.Is(err, sql.ErrNoRows) {
		return Record{}, fault.New(fault.NotFound, "unknown-record", "there is no %s %d to be signed", kind, id)
	}
	if err != nil {
		return Record{}, fmt.Errorf("record %s %d: %w", kind, id, err)
	}
	list, err := withSignatures(ctx, tx, []row{r})
	if err != nil {
		return Record{}, err
	}
	return list[0], nil
}

// Of returns the newest version of every record of a deviation, by kind and
// number.
func Of(ctx context.Context, tx *pg.Tx, deviation int64) ([]Record, error) {
	var rows []row
	if err := tx.SelectContext(ctx, &rows, columns+`deviation_id = $2 and `+newest+` order by kind, record_id`, tx.Plant, deviation); err != nil {
		return nil, fmt.Errorf("records: %w", err)
	}
	return withSignatures(ctx, tx, rows)
}

// Versions returns every version of a record, the first one first: what was
// signed stays to be seen.
func Versions(ctx context.Context, tx *pg.Tx, kind Kind, id int64) ([]Record, error) {
	var rows []row
	if err := tx.SelectContext(ctx, &rows, columns+`kind = $2 and record_id = $3 order by version`, tx.Plant, kind, id); err != nil {
		return nil, fmt.Errorf("records: %w", err)
	}
	return withSignatures(ctx, tx, rows)
}

// Waiting returns the newest version of every record of the plant that somebody
// has still to sign, the longest waiting first. Whether what it is about still
// stands is for its owner to say.
func Waiting(ctx context.Context, tx *pg.Tx) ([]Record, error) {
	var rows []row
	const q = columns + newest + ` and jsonb_array_length(coalesce(nullif(convert_from(body, 'UTF8')::jsonb -> 'signers', 'null'), '[]')) >
		(select count(*) from signature s where s.plant_id = r.plant_id and s.kind = r.kind and s.record_id = r.record_id and s.version = r.version)
		order by made_at, kind, record_id`
	if err := tx.SelectContext(ctx, &rows, q, tx.Plant); err != nil {
		return nil, fmt.Errorf("records: %w", err)
	}
	return withSignatures(ctx, tx, rows)
}
