package lot

import (
	"context"
	"fmt"
	"time"

	"lastgood/policy/unit"
	"lastgood/workflow/fault"
	"lastgood/workflow/pg"
)

// Lists are in order of the database's own numbers, a page after the number
// that the page before ended with.

// Numbered is a row of a list with its number and, where it can change, its
// version.
type Numbered[T any] struct {
	ID      int64
	Version int
	Value   T
}

// Products returns products with a number above after.
func Products(ctx context.Context, tx *pg.Tx, after int64, limit int) ([]Numbered[Product], error) {
	const q = `select product_id, version, code, name, ready_to_eat, supports_growth, consumers, shelf_life_days
		from product where plant_id = $1 and product_id > $2 order by product_id limit $3`
	var rows []struct {
		ID             int64     `db:"product_id"`
		Version        int       `db:"version"`
		Code           string    `db:"code"`
		Name           string    `db:"name"`
		ReadyToEat     *bool     `db:"ready_to_eat"`
		SupportsGrowth *bool     `db:"supports_growth"`
		Consumers      Consumers `db:"consumers"`
		ShelfLifeDays  *int      `db:"shelf_life_days"`
	}
	if err := tx.SelectContext(ctx, &rows, q, tx.Plant, after, limit); err != nil {
		return nil, fmt.Errorf("products: %w", err)
	}
	out := make([]Numbered[Product], len(rows))
	for i, r := range rows {
		out[i] = Numbered[Product]{r.ID, r.Version, Product{r.Code, r.Name, r.ReadyToEat, r.SupportsGrowth, r.Consumers, r.ShelfLifeDays}}
	}
	return out, nil
}

// Registered is a lot as it stands. One that rows have named and nobody
// registered has only a code.
type Registered struct {
	Lot
	Registered bool
}

type registeredRow struct {
	ID         int64      `db:"lot_id"`
	Version    int        `db:"version"`
	Code       string     `db:"code"`
	Product    string     `db:"product"`
	MadeAt     *time.Time `db:"made_at"`
	MadeFrom   *time.Time `db:"made_from"`
	MadeUntil  *time.Time `db:"made_until"`
	Quantity   *string    `db:"quantity"`
	Unit       *string    `db:"quantity_unit"`
	Registered bool       `db:"registered"`
}

const registered = `select lot_id, l.version, l.code, coalesce(p.code, '') as product, made_at, made_from, made_until,
	cast(quantity as text) as quantity, quantity_unit, registered
	from lot l left join product p using (plant_id, product_id) where l.plant_id = $1 and `

// List returns lots with a number above after.
func List(ctx context.Context, tx *pg.Tx, after int64, limit int) ([]Numbered[Registered], error) {
	var rows []registeredRow
	if err := tx.SelectContext(ctx, &rows, registered+`lot_id > $2 order by lot_id limit $3`, tx.Plant, after, limit); err != nil {
		return nil, fmt.Errorf("lots: %w", err)
	}
	out := make([]Numbered[Registered], len(rows))
	for i, r := range rows {
		out[i] = r.numbered()
	}
	return out, nil
}

// ByCode returns one lot by its code.
func ByCode(ctx context.Context, tx *pg.Tx, code string) (Numbered[Registered], error) {
	var rows []registeredRow
	if err := tx.SelectContext(ctx, &rows, registered+`l.code = $2`, tx.Plant, code); err != nil {
		return Numbered[Registered]{}, fmt.Errorf("lot: %w", err)
	}
	if len(rows) == 0 {
		return Numbered[Registered]{}, fault.New(fault.NotFound, "unknown-lot", "there is no lot %s", code)
	}
	return rows[0].numbered(), nil
}

func (r registeredRow) numbered() Numbered[Registered] {
	l := Lot{Code: r.Code, Product: r.Product, MadeAt: r.MadeAt, MadeFrom: r.MadeFrom, MadeUntil: r.MadeUntil, Quantity: quantity(r.Quantity, r.Unit)}
	return Numbered[Registered]{r.ID, r.Version, Registered{l, r.Registered}}
}

func quantity(amount, of *string) *unit.Quantity {
	if amount == nil || of == nil {
		return nil
	}
	return &unit.Quantity{Amount: *amount, Unit: *of}
}

// Stays returns where a lot was (all lots: code empty), with a number above
// after.
func Stays(ctx context.Context, tx *pg.Tx, code string, after int64, limit int) ([]Numbered[Stay], error) {
	const q = `select stay_id, l.code, loc.code as location, stayed_from, stayed_to from stay s
		join lot l using (plant_id, lot_id) join location loc using (plant_id, location_id)
		where s.plant_id = $1 and stay_id > $2 and ($4 = '' or l.code = $4) order by stay_id limit $3`
	var rows []struct {
		ID       int64      `db:"stay_id"`
		Lot      string     `db:"code"`
		Location string     `db:"location"`
		From     time.Time  `db:"stayed_from"`
		To       *time.Time `db:"stayed_to"`
	}
	if err := tx.SelectContext(ctx, &rows, q, tx.Plant, after, limit, code); err != nil {
		return nil, fmt.Errorf("stays: %w", err)
	}
	out := make([]Numbered[Stay], len(rows))
	for i, r := range rows {
		out[i] = Numbered[Stay]{ID: r.ID, Value: Stay{r.Lot, r.Location, r.From, r.To}}
	}
	return out, nil
}

// Made returns what a lot was made of and what was made of it (all: code
// empty), after a row of the page before.
func Made(ctx context.Context, tx *pg.Tx, code string, after [3]string, limit int) ([]Transformation, error) {
	const q = `select t.event, t.at, i.code as input, o.code as output, cast(input_quantity as text) as input_quantity,
		cast(output_quantity as text) as output_quantity, t.quantity_unit
		from transformation t join lot i on i.plant_id = t.plant_id and i.lot_id = t.input_lot_id
		join lot o on o.plant_id = t.plant_id and o.lot_id = t.output_lot_id
		where t.plant_id = $1 and ($2 = '' or i.code = $2 or o.code = $2) and (i.code, o.code, t.event) > ($3, $4, $5)
		order by i.code, o.code, t.event limit $6`
	var rows []struct {
		Event  string    `db:"event"`
		At     time.Time `db:"at"`
		Input  string    `db:"input"`
		Output string    `db:"output"`
		In     *string   `db:"input_quantity"`
		Out    *string   `db:"output_quantity"`
		Unit   *string   `db:"quantity_unit"`
	}
	if err := tx.SelectContext(ctx, &rows, q, tx.Plant, code, after[0], after[1], after[2], limit); err != nil {
		return nil, fmt.Errorf("transformations: %w", err)
	}
	out := make([]Transformation, len(rows))
	for i, r := range rows {
		out[i] = Transformation{r.Event, r.At, r.Input, r.Output, quantity(r.In, r.Unit), quantity(r.Out, r.Unit)}
	}
	return out, nil
}

// Shipments returns what has gone of a lot (all: code empty), after a row of the
// page before.
func Shipments(ctx context.Context, tx *pg.Tx, code string, after [2]string, limit int) ([]Shipment, error) {
	const q = `select s.shipment, l.code, cast(s.quantity as text) as quantity, s.quantity_unit, s.shipped_at, s.consignee
		from shipment s join lot l using (plant_id, lot_id)
		where s.plant_id = $1 and ($2 = '' or l.code = $2) and (l.code, s.shipment) > ($3, $4)
		order by l.code, s.shipment limit $5`
	var rows []struct {
		Shipment  string    `db:"shipment"`
		Lot       string    `db:"code"`
		Quantity  *string   `db:"quantity"`
		Unit      *string   `db:"quantity_unit"`
		ShippedAt time.Time `db:"shipped_at"`
		Consignee string    `db:"consignee"`
	}
	if err := tx.SelectContext(ctx, &rows, q, tx.Plant, code, after[0], after[1], limit); err != nil {
		return nil, fmt.Errorf("shipments: %w", err)
	}
	out := make([]Shipment, len(rows))
	for i, r := range rows {
		out[i] = Shipment{r.Shipment, r.Lot, quantity(r.Quantity, r.Unit), r.ShippedAt, r.Consignee}
	}
	return out, nil
}
