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
// transaction and writes one entry of the trail. A fault.Rows answer means that
// nothing was written.

// AddInstruments registers instruments.
func (s *Service) AddInstruments(ctx context.Context, sc pg.Scope, list []instrument.Instrument) error {
	return record(ctx, s, sc, "instrument.registered", list, func(tx *pg.Tx) error { return instrument.Add(ctx, tx, list) })
}

// AddCertificates records calibration certificates of references.
func (s *Service) AddCertificates(ctx context.Context, sc pg.Scope, list []instrument.Certificate) error {
	return record(ctx, s, sc, "certificate.recorded", list, func(tx *pg.Tx) error { return instrument.AddCertificates(ctx, tx, list) })
}

// AddProducts registers products. Deviations that doubt a lot of one become due
// for a new trace run.
func (s *Service) AddProducts(ctx context.Context, sc pg.Scope, list []lot.Product) error {
	return record(ctx, s, sc, "product.registered", list, func(tx *pg.Tx) error {
		if err := lot.AddProducts(ctx, tx, list); err != nil {
			return err
		}
		codes := make([]string, len(list))
		for i, p := range list {
			codes[i] = p.Code
		}
		return touchProducts(ctx, tx, codes)
	})
}

// AddLots registers lots. Deviations that doubt one already become due for a
// new trace run.
func (s *Service) AddLots(ctx context.Context, sc pg.Scope, list []lot.Lot) error {
	return record(ctx, s, sc, "lot.registered", list, func(tx *pg.Tx) error {
		if err := lot.Add(ctx, tx, list); err != nil {
			return err
		}
		codes := make([]string, len(list))
		for i, l := range list {
			codes[i] = l.Code
		}
		return touchLots(ctx, tx, codes)
	})
}

// AddMountings records where instruments hung. Deviations that this may concern
// become due for a new trace run.
func (s *Service) AddMountings(ctx context.Context, sc pg.Scope, list []instrument.Mounting) error {
	return record(ctx, s, sc, "mounting.recorded", list, func(tx *pg.Tx) error {
		if err := instrument.AddMountings(ctx, tx, list); err != nil {
			return err
		}
		codes := make([]string, len(list))
		for i, m := range list {
			codes[i] = m.Instrument
		}
		return touchInstruments(ctx, tx, codes)
	})
}

// AddStays records where lots were. Deviations that this may concern become due
// for a new trace run.
func (s *Service) AddStays(ctx context.Context, sc pg.Scope, list []lot.Stay) error {
	return record(ctx, s, sc, "stay.recorded", list, func(tx *pg.Tx) error {
		if err := lot.AddStays(ctx, tx, list); err != nil {
			return err
		}
		codes := make([]string, len(list))
		for i, st := range list {
			codes[i] = st.Location
		}
		return touchLocations(ctx, tx, codes)
	})
}

// AddTransformations records what was made of what. A row that would make a lot
// its own ancestor is refused with the lots on the way.
func (s *Service) AddTransformations(ctx context.Context, sc pg.Scope, list []lot.Transformation) error {
	return record(ctx, s, sc, "transformation.recorded", list, func(tx *pg.Tx) error {
		if err := tx.OwnGenealogy(ctx); err != nil {
			return err
		}
		if err := lot.AddTransformations(ctx, tx, list); err != nil {
			return err
		}
		codes := make([]string, len(list))
		for i, t := range list {
			codes[i] = t.Input
		}
		return touchLots(ctx, tx, codes)
	})
}

// AddShipments records what has gone, and to whom.
func (s *Service) AddShipments(ctx context.Context, sc pg.Scope, list []lot.Shipment) error {
	return record(ctx, s, sc, "shipment.recorded", list, func(tx *pg.Tx) error {
		if err := lot.AddShipments(ctx, tx, list); err != nil {
			return err
		}
		codes := make([]string, len(list))
		for i, sh := range list {
			codes[i] = sh.Lot
		}
		return touchLots(ctx, tx, codes)
	})
}

// record runs one such command: under the shared plant lock, so that a
// deviation that opens meanwhile sees its rows or is seen by it, and once for
// its idempotency key.
func record[T any](ctx context.Context, s *Service, sc pg.Scope, action string, list []T, f func(*pg.Tx) error) error {
	if len(list) == 0 {
		return nil
	}
	text, err := json.Marshal(list, json.Deterministic(true))
	if err != nil {
		return fmt.Errorf("%s: %w", action, err)
	}
	digest := sha256.Sum256(append([]byte(action+"\n"), text...))
	return s.db.InTx(ctx, sc, func(tx *pg.Tx) error {
		if _, done, err := tx.Once(ctx, digest[:]); err != nil || done {
			return err
		}
		if _, err := tx.SharePlant(ctx); err != nil {
			return err
		}
		if err := f(tx); err != nil {
			return err
		}
		if err := tx.Answered(ctx, digest[:], 201, nil); err != nil {
			return err
		}
		return trail.Append(ctx, tx, trail.Entry{Stream: "administration", Action: action,
			Subject: fmt.Sprintf("%d rows", len(list)), After: batchNote{Rows: len(list), SHA256: digest[:]}})
	})
}

// batchNote is what the trail says of many rows: their count and the digest of
// their text.
type batchNote struct {
	Rows   int    `json:"rows"`
	SHA256 []byte `json:"sha256"`
}
