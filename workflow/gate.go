package workflow

import (
	"context"
	"fmt"
	"time"

	"github.com/go-json-experiment/json"
	"github.com/lib/pq"

	"lastgood/policy/unit"
	"lastgood/workflow/lot"
	"lastgood/workflow/pg"
)

// The ship gate: may this lot be loaded? Plant systems ask before they load. It
// is closed unless everything that could close it was looked at and did not.
//
// A question takes the shared plant lock, as ingest does: 0.1 ms, and it waits
// for nobody but a deviation that is opening just now. Under it, one statement
// sees one moment, and the answer is recorded before it is given. So a deviation
// that opens either comes first, and the question sees its holds; or comes
// later, and marks the holds of what was allowed so shortly before that it may
// be on its way (hold.Hold.AllowedAt). Since nothing is answered that was not
// written and committed, no standby and no server that has become read-only
// ever lets anything through.
const (
	// gateValidity is for how long an answer holds: long enough for a forklift to
	// be told, short enough that a deviation stops what it finds on the dock.
	gateValidity = 10 * time.Second
	// gatePatience is how long a question waits, less than its answer would hold.
	gatePatience = 5 * time.Second
)

// GateQuestion is what somebody wants to load, and on what.
type GateQuestion struct {
	Items     []GateItem `json:"items"`
	Shipment  string     `json:"shipment"`  // empty: not said
	Consignee string     `json:"consignee"` // empty: not said
}

// GateItem is product that somebody wants to load.
type GateItem struct {
	Lot      string         `json:"lot"`
	Portion  string         `json:"portion"`  // label; empty: of the lot, whichever portion
	Quantity *unit.Quantity `json:"quantity"` // nil: not said, and then not compared
}

// GateAnswer is true from AsOf, for everything recorded until then, and not to be
// acted on after ValidUntil. It reserves nothing.
type GateAnswer struct {
	Question   int64         `json:"-"` // its number in the record
	AsOf       time.Time     `json:"as_of"`
	ValidUntil time.Time     `json:"valid_until"`
	Epoch      int64         `json:"epoch"`    // of the plant's deviations
	MayShip    bool          `json:"may_ship"` // all of it
	Items      []GateVerdict `json:"items"`    // in the order asked
}

// GateVerdict says whether an item may ship: if there is no reason why not.
type GateVerdict struct {
	GateItem
	MayShip bool         `json:"may_ship"`
	Reasons []GateReason `json:"reasons"`
}

// GateReason is one reason why an item must not ship, with what it is about;
// zero values: none.
type GateReason struct {
	Rule      string      `json:"rule"` // stable
	Detail    string      `json:"detail"`
	Lot       string      `json:"lot"` // that the reason lies in: the item's, or one that it was made of
	Hold      int64       `json:"hold"`
	Deviation DeviationID `json:"deviation"`
	Cascade   CascadeID   `json:"cascade"`
}

// MayShip asks the ship gate. Every question is recorded with its answer. An
// error means that nothing may be loaded.
func (s *Service) MayShip(ctx context.Context, sc pg.Scope, q GateQuestion) (a GateAnswer, err error) {
	ctx, cancel := context.WithTimeout(ctx, gatePatience)
	defer cancel()
	if err := s.gate.Ready(ctx, s.db); err != nil {
		return a, err
	}
	err = s.db.InTx(ctx, sc, func(tx *pg.Tx) error {
		a = GateAnswer{AsOf: tx.Now, ValidUntil: tx.Now.Add(gateValidity)}
		if a.Epoch, err = tx.SharePlant(ctx); err != nil {
			return err
		}
		ids, err := lotIDs(ctx, tx, q.Items)
		if err != nil {
			return err
		}
		g, err := s.lookAtGate(ctx, tx, ids)
		if err != nil {
			return err
		}
		a.Items, a.MayShip = g.judge(q.Items), true
		for _, v := range a.Items {
			a.MayShip = a.MayShip && v.MayShip
		}
		return a.record(ctx, tx, q, ids)
	})
	if err != nil {
		return GateAnswer{}, err
	}
	return a, nil
}

// lotIDs returns the numbers of the lots that are known by their codes. A code
// never changes its number.
func lotIDs(ctx context.Context, tx *pg.Tx, items []GateItem) (map[string]lot.ID, error) {
	codes := make([]string, len(items))
	for i, it := range items {
		codes[i] = it.Lot
	}
	var rows []struct {
		Code string `db:"code"`
		ID   lot.ID `db:"lot_id"`
	}
	const q = `select code, lot_id from lot where plant_id = $1 and code = any($2)`
	if err := tx.SelectContext(ctx, &rows, q, tx.Plant, pq.Array(codes)); err != nil {
		return nil, fmt.Errorf("lots: %w", err)
	}
	m := make(map[string]lot.ID, len(rows))
	for _, r := range rows {
		m[r.Code] = r.ID
	}
	return m, nil
}

// record writes the question and its answer: one row a call and no entry of the
// trail, since a stream takes one writer at a time and questions come in floods.
func (a *GateAnswer) record(ctx context.Context, tx *pg.Tx, q GateQuestion, ids map[string]lot.ID) error {
	body, err := json.Marshal(a, json.Deterministic(true))
	if err != nil {
		return fmt.Errorf("answer: %w", err)
	}
	refused, allowed := 0, []lot.ID{}
	for _, v := range a.Items {
		if v.MayShip {
			allowed = append(allowed, ids[v.Lot])
		} else {
			refused++
		}
	}
	const add = `insert into ship_question (plant_id, asked_at, valid_until, asked_by, shipment, consignee, epoch, refused, allowed, body)
		values ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10) returning question_id`
	err = tx.GetContext(ctx, &a.Question, add, tx.Plant, a.AsOf, a.ValidUntil, tx.By.ID, q.Shipment, q.Consignee, a.Epoch,
		refused, pq.Array(allowed), body)
	if err != nil {
		return fmt.Errorf("question: %w", err)
	}
	return nil
}
