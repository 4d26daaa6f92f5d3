package lot

import (
	"context"
	"time"

	"lastgood/workflow/instrument"
	"lastgood/workflow/pg"
)

// A stay without an end takes one, and an end once known is not forgotten where
// the row from before is sent again.
var staySieve = pg.Sieve{
	Noun: "stay", Key: "from",
	Columns: `lot_id bigint, location_id int, stayed_from timestamptz, stayed_to timestamptz`,
	Table: `stay t on t.lot_id = r.lot_id and t.location_id = r.location_id and t.stayed_from = r.stayed_from
		and not (t.stayed_to is null and r.stayed_to is not null)`,
	Same: []pg.Same{{Field: "to", If: "r.stayed_to is null or t.stayed_to = r.stayed_to"}},
}

type stayRow struct {
	Lot      ID         `json:"lot_id"`
	Location int32      `json:"location_id"`
	From     time.Time  `json:"stayed_from"`
	To       *time.Time `json:"stayed_to"`
}

type stayKey struct {
	lot      ID
	location int32
	from     int64
}

// AddStays records where lots were and returns what is new of it. A stay that
// had no end may get one.
func AddStays(ctx context.Context, tx *pg.Tx, list []Stay) ([]Stay, error) {
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
		return nil, err
	}
	at, err := instrument.Locations(ctx, tx, places)
	if err != nil {
		return nil, err
	}
	rows := make([]stayRow, len(list))
	for i, s := range list {
		rows[i] = stayRow{ids[s.Lot], at[s.Location], s.From, s.To}
	}
	return pg.AddFresh(ctx, tx, staySieve, add, list, rows, func(r stayRow) stayKey { return stayKey{r.Lot, r.Location, r.From.UnixMicro()} })
}

var shipmentSieve = pg.Sieve{
	Noun: "shipment", Key: "shipment",
	Columns: `lot_id bigint, shipment text, quantity numeric, quantity_unit text, shipped_at timestamptz, consignee text`,
	Table:   `shipment t on t.lot_id = r.lot_id and t.shipment = r.shipment`,
	Same: []pg.Same{
		{Field: "quantity", If: "t.quantity is not distinct from r.quantity"},
		{Field: "quantity_unit", If: "t.quantity_unit is not distinct from r.quantity_unit"},
		{Field: "shipped_at", If: "t.shipped_at = r.shipped_at"},
		{Field: "consignee", If: "t.consignee = r.consignee"},
	},
}

type shipmentRow struct {
	Lot       ID        `json:"lot_id"`
	Shipment  string    `json:"shipment"`
	Quantity  *string   `json:"quantity"`
	Unit      *string   `json:"quantity_unit"`
	ShippedAt time.Time `json:"shipped_at"`
	Consignee string    `json:"consignee"`
}

type shipmentKey struct {
	lot      ID
	shipment string
}

// AddShipments records what of a lot has gone, and to whom, and returns what is
// new of it.
func AddShipments(ctx context.Context, tx *pg.Tx, list []Shipment) ([]Shipment, error) {
	const add = `
insert into shipment (plant_id, lot_id, shipment, quantity, quantity_unit, shipped_at, consignee, recorded_at)
select $1, lot_id, shipment, quantity, quantity_unit, shipped_at, consignee, $3
from json_to_recordset($2) as r(lot_id bigint, shipment text, quantity numeric, quantity_unit text,
  shipped_at timestamptz, consignee text)`
	if err := pg.AllPast(tx, list, "shipped_at", func(s Shipment) time.Time { return s.ShippedAt }); err != nil {
		return nil, err
	}
	lots := make([]string, len(list))
	for i, s := range list {
		lots[i] = s.Lot
	}
	ids, err := Intern(ctx, tx, lots)
	if err != nil {
		return nil, err
	}
	rows := make([]shipmentRow, len(list))
	for i, s := range list {
		rows[i] = shipmentRow{Lot: ids[s.Lot], Shipment: s.Shipment, ShippedAt: s.ShippedAt, Consignee: s.Consignee}
		rows[i].Quantity, rows[i].Unit = split(s.Quantity)
	}
	return pg.AddFresh(ctx, tx, shipmentSieve, add, list, rows, func(r shipmentRow) shipmentKey { return shipmentKey{r.Lot, r.Shipment} })
}
