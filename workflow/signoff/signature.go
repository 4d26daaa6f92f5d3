package signoff

import (
	"context"
	"fmt"
	"slices"
	"time"

	"github.com/lib/pq"

	"lastgood/policy/disposition"
	"lastgood/workflow/fault"
	"lastgood/workflow/pg"
)

// Signature is one that was given, with the name and the title of that day.
type Signature struct {
	ID              int64            `db:"signature_id"`
	Kind            Kind             `db:"kind"`
	Record          int64            `db:"record_id"`
	Version         int              `db:"version"`
	Seat            int              `db:"seat"`
	Person          string           `db:"person"`
	Name            string           `db:"printed_name"`
	Title           string           `db:"title"`
	Role            disposition.Role `db:"role"`
	Deed            disposition.Deed `db:"deed"`
	Meaning         string           `db:"meaning"`
	Qualification   string           `db:"qualification"`
	For             []string         `db:"-"`
	Note            string           `db:"note"`
	SignedAt        time.Time        `db:"signed_at"`
	AuthenticatedAt time.Time        `db:"authenticated_at"`
	Session         string           `db:"session"`
}

const signatureColumns = `select signature_id, kind, record_id, version, seat, person, printed_name, title, role, deed, meaning, qualification,
	acts_for, note, signed_at, authenticated_at, session from signature s where plant_id = $1 and `

type signatureRow struct {
	Signature
	Raw pq.StringArray `db:"acts_for"`
}

// withSignatures fills in the signatures of each version.
func withSignatures(ctx context.Context, tx *pg.Tx, rows []row) ([]Record, error) {
	type key struct {
		kind    Kind
		id      int64
		version int
	}
	out := make([]Record, len(rows))
	at := map[key]int{}
	kinds, ids := make([]string, len(rows)), make([]int64, len(rows))
	for i, r := range rows {
		var err error
		if out[i], err = r.record(); err != nil {
			return nil, err
		}
		at[key{r.Kind, r.ID, r.Version}] = i
		kinds[i], ids[i] = string(r.Kind), r.ID
	}
	var signed []signatureRow
	const q = signatureColumns + `(kind, record_id) in (select * from unnest($2::text[], $3::bigint[])) order by seat`
	if err := tx.SelectContext(ctx, &signed, q, tx.Plant, pq.Array(kinds), pq.Array(ids)); err != nil {
		return nil, fmt.Errorf("signatures: %w", err)
	}
	for _, s := range signed {
		if i, ok := at[key{s.Kind, s.Record, s.Version}]; ok {
			s.For = s.Raw
			out[i].Signatures = append(out[i].Signatures, s.Signature)
		}
	}
	return out, nil
}

// All returns every signature of a deviation ever given, outdated ones too, in
// the order of signing.
func All(ctx context.Context, tx *pg.Tx, deviation int64) ([]Signature, error) {
	var rows []signatureRow
	const q = signatureColumns + `exists (select from signed_record r where r.plant_id = s.plant_id and r.kind = s.kind
		and r.record_id = s.record_id and r.version = s.version and r.deviation_id = $2) order by signature_id`
	if err := tx.SelectContext(ctx, &rows, q, tx.Plant, deviation); err != nil {
		return nil, fmt.Errorf("signatures: %w", err)
	}
	out := make([]Signature, len(rows))
	for i, r := range rows {
		r.For = r.Raw
		out[i] = r.Signature
	}
	return out, nil
}

// Next returns the seat that is to be signed now by a role: seats are signed in
// their order. fault.Refused: the role has no seat, it is not its turn, or all is
// signed.
func (r Record) Next(role disposition.Role) (int, error) {
	if !slices.ContainsFunc(r.Seats, func(s Seat) bool { return s.Role == role }) {
		return 0, fault.New(fault.Refused, "not-a-signer", "%s does not sign this record: it is signed by %s", role, fault.Words(r.roles()))
	}
	for i, s := range r.Seats {
		switch {
		case r.signed(i):
		case s.Role == role:
			return i, nil
		default:
			return 0, fault.New(fault.Refused, "not-your-turn", "%s %d is signed in order, and waits for %s, who %s", r.Kind, r.ID, s.Role, s.Meaning)
		}
	}
	return 0, fault.New(fault.Refused, "already-signed", "everyone has signed version %d of %s %d", r.Version, r.Kind, r.ID)
}

// roles are those of the seats, each once, in their order.
func (r Record) roles() []disposition.Role {
	var out []disposition.Role
	for _, s := range r.Seats {
		if !slices.Contains(out, s.Role) {
			out = append(out, s.Role)
		}
	}
	return out
}

// Add stores a signature.
func Add(ctx context.Context, tx *pg.Tx, s Signature) error {
	const add = `insert into signature (plant_id, kind, record_id, version, seat, person, printed_name, title, role, deed, meaning,
		qualification, acts_for, note, signed_at, authenticated_at, session)
		values ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12, $13, $14, $15, $16, $17)`
	if s.For == nil {
		s.For = []string{}
	}
	_, err := tx.ExecContext(ctx, add, tx.Plant, s.Kind, s.Record, s.Version, s.Seat, s.Person, s.Name, s.Title, s.Role, s.Deed, s.Meaning,
		s.Qualification, pq.Array(s.For), s.Note, s.SignedAt, s.AuthenticatedAt, s.Session)
	if err != nil {
		return fmt.Errorf("sign %s %d: %w", s.Kind, s.Record, err)
	}
	return nil
}
