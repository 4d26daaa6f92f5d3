package workflow

import (
	"context"
	"crypto/sha256"
	"fmt"

	"github.com/go-json-experiment/json"

	"lastgood/workflow/instrument"
	"lastgood/workflow/lot"
	"lastgood/workflow/pg"
	"lastgood/workflow/trail"
)

// The facts of the plant come in here. Each command takes a list, is one
// transaction and writes one entry of the trail. The same row again is no news:
// a list without news leaves no trace. A fault.Rows answer means that nothing
// was written.

// Counts says what became of a list of facts.
type Counts struct {
	Accepted  int `json:"accepted"`
	Unchanged int `json:"unchanged"` // recorded before, with the same values
	// Quarantined are the rows that were put aside: of transformations only.
	Quarantined []Aside `json:"quarantined,omitempty"`
}

// AddInstruments registers instruments.
func (s *Service) AddInstruments(ctx context.Context, sc pg.Scope, list []instrument.Instrument) (Counts, error) {
	return record(ctx, s, sc, facts[instrument.Instrument]{action: "instrument.registered", add: instrument.Add}, list)
}

// AddProducts registers products. Deviations that doubt a lot of one become due
// for a new trace run.
func (s *Service) AddProducts(ctx context.Context, sc pg.Scope, list []lot.Product) (Counts, error) {
	return record(ctx, s, sc, facts[lot.Product]{action: "product.registered", add: lot.AddProducts,
		touch: touchProducts, by: func(p lot.Product) string { return p.Code }}, list)
}

// AddLots registers lots. Deviations that doubt one already become due for a
// new trace run.
func (s *Service) AddLots(ctx context.Context, sc pg.Scope, list []lot.Lot) (Counts, error) {
	return record(ctx, s, sc, facts[lot.Lot]{action: "lot.registered", add: lot.Add,
		touch: touchMade, by: func(l lot.Lot) string { return l.Code }}, list)
}

// AddMountings records where instruments hung. Deviations that this may concern
// become due for a new trace run.
func (s *Service) AddMountings(ctx context.Context, sc pg.Scope, list []instrument.Mounting) (Counts, error) {
	return record(ctx, s, sc, facts[instrument.Mounting]{action: "mounting.recorded", add: instrument.AddMountings,
		touch: touchInstruments, by: func(m instrument.Mounting) string { return m.Instrument }}, list)
}

// AddStays records where lots were. Deviations that this may concern become due
// for a new trace run.
func (s *Service) AddStays(ctx context.Context, sc pg.Scope, list []lot.Stay) (Counts, error) {
	return record(ctx, s, sc, facts[lot.Stay]{action: "stay.recorded", add: lot.AddStays,
		touch: touchStays, by: func(st lot.Stay) string { return st.Location }}, list)
}

// AddShipments records what has gone, and to whom. Product on hold that moved all
// the same is alarmed.
func (s *Service) AddShipments(ctx context.Context, sc pg.Scope, list []lot.Shipment) (Counts, error) {
	var fresh []lot.Shipment
	add := func(ctx context.Context, tx *pg.Tx, list []lot.Shipment) (_ []lot.Shipment, err error) {
		fresh, err = lot.AddShipments(ctx, tx, list)
		return fresh, err
	}
	touch := func(ctx context.Context, tx *pg.Tx, codes []string) error { // deviations are locked before holds
		if err := touchLots(ctx, tx, codes); err != nil {
			return err
		}
		return alarmMoved(ctx, tx, fresh)
	}
	return record(ctx, s, sc, facts[lot.Shipment]{action: "shipment.recorded", add: add,
		touch: touch, by: func(sh lot.Shipment) string { return sh.Lot }}, list)
}

// facts is how one kind of fact is recorded.
type facts[T any] struct {
	action string                                          // in the trail
	add    func(context.Context, *pg.Tx, []T) ([]T, error) // returns what is new
	touch  func(context.Context, *pg.Tx, []string) error   // makes deviations due; nil: concerns none
	by     func(T) string                                  // what touch goes by
}

// record runs one such command: under the shared plant lock, so that a
// deviation that opens meanwhile sees its rows or is seen by it, one writer of
// facts at a time, so that what each finds recorded stays so, and once for its
// idempotency key.
func record[T any](ctx context.Context, s *Service, sc pg.Scope, f facts[T], list []T) (Counts, error) {
	if len(list) == 0 {
		return Counts{}, nil
	}
	return do(ctx, s, sc, f.action, list, statusCreated, func(tx *pg.Tx) (Counts, error) {
		if _, err := tx.SharePlant(ctx); err != nil {
			return Counts{}, err
		}
		if err := tx.OwnStream(ctx, "facts"); err != nil {
			return Counts{}, err
		}
		fresh, err := f.add(ctx, tx, list)
		if err != nil {
			return Counts{}, err
		}
		c := Counts{Accepted: len(fresh), Unchanged: len(list) - len(fresh)}
		if len(fresh) == 0 {
			return c, nil
		}
		return c, f.note(ctx, tx, fresh)
	})
}

// note makes the deviations due that news concern, and tells the trail.
func (f facts[T]) note(ctx context.Context, tx *pg.Tx, fresh []T) error {
	if f.touch != nil {
		names := make([]string, len(fresh))
		for i, v := range fresh {
			names[i] = f.by(v)
		}
		if err := f.touch(ctx, tx, names); err != nil {
			return fmt.Errorf("%s: %w", f.action, err)
		}
	}
	text, err := json.Marshal(fresh, json.Deterministic(true))
	if err != nil {
		return fmt.Errorf("%s: %w", f.action, err)
	}
	digest := sha256.Sum256(append([]byte(f.action+"\n"), text...))
	return trail.Append(ctx, tx, trail.Entry{Stream: "administration", Action: f.action,
		Subject: fmt.Sprintf("%d rows", len(fresh)), After: batchNote{Rows: len(fresh), SHA256: digest[:]}})
}

// batchNote is what the trail says of many rows: their count and the digest of
// their text.
type batchNote struct {
	Rows   int    `json:"rows"`
	SHA256 []byte `json:"sha256"`
}
