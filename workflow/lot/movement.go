package lot

import (
	"context"
	"fmt"
	"time"

	"lastgood/workflow/fault"
	"lastgood/workflow/instrument"
	"lastgood/workflow/pg"
)

// AddStays records where lots were. A stay that had no end may get one.
func AddStays(ctx context.Context, tx *pg.Tx, list []Stay) error {
	const add = `
insert into stay (plant_id, lot_id, location_id, stayed_from, stayed_to, recorded_at)
select $1, lot_id, location_id, stayed_from, stayed_to, $3
from json_to_recordset($2) as r(lot_id bigint, location_id int, stayed_from timestamptz, stayed_to timestamptz)
on conflict on constraint stay_once do update set stayed_to = excluded.stayed_to
  where stay.stayed_to is null`
	lots, places := make([]string, len(list)), make([]string, len(list))
	for i, s := range list {
		lots[i], places[i] = s.Lot, s.Location
	}
	ids, err := Intern(ctx, tx, lots)
	if err != nil {
		return err
	}
	at, err := instrument.Locations(ctx, tx, places)
	if err != nil {
		return err
	}
	type row struct {
		Lot      ID         `json:"lot_id"`
		Location int32      `json:"location_id"`
		From     time.Time  `json:"stayed_from"`
		To       *time.Time `json:"stayed_to"`
	}
	type key struct {
		Lot      ID
		Location int32
		From     time.Time
	}
	rows := make([]row, len(list))
	seen := map[key]bool{}
	var bad fault.Rows
	for i, s := range list {
		rows[i] = row{ids[s.Lot], at[s.Location], s.From, s.To}
		k := key{rows[i].Lot, rows[i].Location, s.From}
		if seen[k] {
			bad.Add(i, fault.New(fault.Conflict, "duplicate", "this stay of lot %s was given already", s.Lot).In("lot"))
		}
		seen[k] = true
	}
	if len(bad) > 0 {
		return bad
	}
	if _, err := tx.Insert(ctx, add, rows); err != nil {
		return fmt.Errorf("add stays: %w", err)
	}
	return nil
}

// AddShipments records what of a lot has gone, and to whom.
func AddShipments(ctx context.Context, tx *pg.Tx, list []Shipment) error {
	const add = `
insert into shipment (plant_id, lot_id, shipment, quantity, quantity_unit, shipped_at, consignee, recorded_at)
select $1, lot_id, shipment, quantity, quantity_unit, shipped_at, consignee, $3
from json_to_recordset($2) as r(lot_id bigint, shipment text, quantity numeric, quantity_unit text,
  shipped_at timestamptz, consignee text)
on conflict do nothing`
	lots := make([]string, len(list))
	for i, s := range list {
		lots[i] = s.Lot
	}
	ids, err := Intern(ctx, tx, lots)
	if err != nil {
		return err
	}
	type row struct {
		Lot       ID        `json:"lot_id"`
		Shipment  string    `json:"shipment"`
		Quantity  *string   `json:"quantity"`
		Unit      *string   `json:"quantity_unit"`
		ShippedAt time.Time `json:"shipped_at"`
		Consignee string    `json:"consignee"`
	}
	rows := make([]row, len(list))
	seen := map[[2]string]int{}
	var bad fault.Rows
	for i, s := range list {
		k := [2]string{s.Shipment, s.Lot}
		if _, dup := seen[k]; dup {
			bad.Add(i, fault.New(fault.Conflict, "duplicate", "lot %s stands twice in shipment %s", s.Lot, s.Shipment).In("shipment"))
		}
		seen[k] = i
		rows[i] = row{Lot: ids[s.Lot], Shipment: s.Shipment, ShippedAt: s.ShippedAt, Consignee: s.Consignee}
		rows[i].Quantity, rows[i].Unit = split(s.Quantity)
	}
	if len(bad) > 0 {
		return bad
	}
	if _, err := tx.Insert(ctx, add, rows); err != nil {
		return fmt.Errorf("add shipments: %w", err)
	}
	return nil
}

// AddTransformations records what was made of what. A row that would make a lot
// its own ancestor is refused, with the lots on the way. The caller holds the
// genealogy lock.
func AddTransformations(ctx context.Context, tx *pg.Tx, list []Transformation) error {
	const add = `
insert into transformation (plant_id, input_lot_id, output_lot_id, event, at, input_quantity, output_quantity,
  quantity_unit, recorded_at)
select $1, input_lot_id, output_lot_id, event, at, input_quantity, output_quantity, quantity_unit, $3
from json_to_recordset($2) as r(input_lot_id bigint, output_lot_id bigint, event text, at timestamptz,
  input_quantity numeric, output_quantity numeric, quantity_unit text)
on conflict do nothing`
	codes := make([]string, 0, 2*len(list))
	for _, t := range list {
		codes = append(codes, t.Input, t.Output)
	}
	ids, err := Intern(ctx, tx, codes)
	if err != nil {
		return err
	}
	if err := refuseCycles(ctx, tx, list, ids); err != nil {
		return err
	}
	type row struct {
		Input  ID        `json:"input_lot_id"`
		Output ID        `json:"output_lot_id"`
		Event  string    `json:"event"`
		At     time.Time `json:"at"`
		In     *string   `json:"input_quantity"`
		Out    *string   `json:"output_quantity"`
		Unit   *string   `json:"quantity_unit"`
	}
	rows := make([]row, len(list))
	for i, t := range list {
		rows[i] = row{Input: ids[t.Input], Output: ids[t.Output], Event: t.Event, At: t.At}
		rows[i].Out, rows[i].Unit = split(t.OutputQuantity)
		if t.InputQuantity != nil {
			rows[i].In, rows[i].Unit = split(t.InputQuantity)
		}
	}
	if _, err := tx.Insert(ctx, add, rows); err != nil {
		return fmt.Errorf("add transformations: %w", err)
	}
	return nil
}
