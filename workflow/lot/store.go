package lot

import (
	"context"
	"fmt"
	"time"

	"github.com/lib/pq"

	"lastgood/policy/unit"
	"lastgood/workflow/fault"
	"lastgood/workflow/pg"
)

// Intern returns the numbers of lots by code. A lot that nobody registered yet
// is made, with nothing known but its code, so that no row that names it is
// lost. Every new lot gets the portion that is the whole of it.
func Intern(ctx context.Context, tx *pg.Tx, codes []string) (map[string]ID, error) {
	const add = `with l as (
		insert into lot (plant_id, code, registered)
		select distinct $1::int, code, false from json_to_recordset($2) as r(code text)
		where $3::timestamptz is not null
		on conflict do nothing returning plant_id, lot_id)
		insert into portion (plant_id, lot_id) select plant_id, lot_id from l`
	type row struct {
		Code string `json:"code" db:"code"`
		ID   ID     `json:"-" db:"lot_id"`
	}
	m := map[string]ID{}
	rows := []row{}
	list := []string{}
	for _, c := range codes {
		if _, seen := m[c]; c != "" && !seen {
			m[c] = 0
			rows, list = append(rows, row{Code: c}), append(list, c)
		}
	}
	if len(rows) == 0 {
		return m, nil
	}
	if _, err := tx.Insert(ctx, add, rows); err != nil {
		return nil, fmt.Errorf("lots: %w", err)
	}
	var found []row
	const ids = `select code, lot_id from lot where plant_id = $1 and code = any($2)`
	if err := tx.SelectContext(ctx, &found, ids, tx.Plant, pq.Array(list)); err != nil {
		return nil, fmt.Errorf("lots: %w", err)
	}
	for _, r := range found {
		m[r.Code] = r.ID
	}
	return m, nil
}

// AddProducts registers products; one that is known already is brought up to
// date.
func AddProducts(ctx context.Context, tx *pg.Tx, list []Product) error {
	const add = `
insert into product (plant_id, code, name, ready_to_eat, supports_growth, consumers, shelf_life_days)
select $1, code, name, ready_to_eat, supports_growth, consumers, shelf_life_days
from json_to_recordset($2) as r(code text, name text, ready_to_eat boolean, supports_growth boolean,
  consumers text, shelf_life_days int)
where $3::timestamptz is not null
on conflict on constraint product_code do update set name = excluded.name, ready_to_eat = excluded.ready_to_eat,
  supports_growth = excluded.supports_growth, consumers = excluded.consumers,
  shelf_life_days = excluded.shelf_life_days, version = product.version + 1
  where (product.name, product.ready_to_eat, product.supports_growth, product.consumers, product.shelf_life_days)
    is distinct from (excluded.name, excluded.ready_to_eat, excluded.supports_growth, excluded.consumers, excluded.shelf_life_days)`
	type row struct {
		Code           string    `json:"code"`
		Name           string    `json:"name"`
		ReadyToEat     *bool     `json:"ready_to_eat"`
		SupportsGrowth *bool     `json:"supports_growth"`
		Consumers      Consumers `json:"consumers"`
		ShelfLifeDays  *int      `json:"shelf_life_days"`
	}
	rows := make([]row, len(list))
	seen := map[string]int{}
	var bad fault.Rows
	for i, p := range list {
		refuseTwice(&bad, seen, i, p.Code, "product")
		rows[i] = row(p)
	}
	if len(bad) > 0 {
		return bad
	}
	if _, err := tx.Insert(ctx, add, rows); err != nil {
		return fmt.Errorf("add products: %w", err)
	}
	return nil
}

// refuseTwice notes that a code stands twice in one list.
func refuseTwice(bad *fault.Rows, seen map[string]int, i int, code, field string) {
	if first, dup := seen[code]; dup {
		bad.Add(i, fault.New(fault.Conflict, "duplicate", "the %s %s was given already, %d rows before", field, code, i-first).In(field))
		return
	}
	seen[code] = i
}

const addLots = `
with r as (select * from json_to_recordset($2) as r(code text, product text, made_at timestamptz,
  made_from timestamptz, made_until timestamptz, quantity numeric, quantity_unit text)),
p as (
  insert into product (plant_id, code, name, consumers)
  select distinct $1::int, product, '', '' from r where product <> ''
  on conflict do nothing returning code, product_id),
l as (
  insert into lot (plant_id, code, product_id, made_at, made_from, made_until, quantity, quantity_unit, registered)
  select $1, r.code, coalesce(p.product_id, q.product_id), r.made_at, r.made_from, r.made_until, r.quantity, r.quantity_unit, true
  from r left join p on p.code = r.product
  left join product q on q.plant_id = $1 and q.code = r.product
  where $3::timestamptz is not null
  on conflict on constraint lot_code do update set product_id = excluded.product_id, made_at = excluded.made_at,
    made_from = excluded.made_from, made_until = excluded.made_until, quantity = excluded.quantity,
    quantity_unit = excluded.quantity_unit, registered = true, version = lot.version + 1
    where not lot.registered
  returning plant_id, lot_id)
insert into portion (plant_id, lot_id) select plant_id, lot_id from l on conflict do nothing`

type lotRow struct {
	Code      string     `json:"code"`
	Product   string     `json:"product"`
	MadeAt    *time.Time `json:"made_at"`
	MadeFrom  *time.Time `json:"made_from"`
	MadeUntil *time.Time `json:"made_until"`
	Quantity  *string    `json:"quantity"`
	Unit      *string    `json:"quantity_unit"`
}

// Add registers lots. A lot that rows have named before takes what is said of
// it now; one that is registered already is left as it is.
func Add(ctx context.Context, tx *pg.Tx, list []Lot) error {
	rows := make([]lotRow, len(list))
	seen := map[string]int{}
	var bad fault.Rows
	for i, l := range list {
		refuseTwice(&bad, seen, i, l.Code, "lot")
		rows[i] = lotRow{Code: l.Code, Product: l.Product, MadeAt: l.MadeAt, MadeFrom: l.MadeFrom, MadeUntil: l.MadeUntil}
		rows[i].Quantity, rows[i].Unit = split(l.Quantity)
	}
	if len(bad) > 0 {
		return bad
	}
	if _, err := tx.Insert(ctx, addLots, rows); err != nil {
		return fmt.Errorf("add lots: %w", err)
	}
	return nil
}

func split(q *unit.Quantity) (amount, of *string) {
	if q == nil {
		return nil, nil
	}
	return &q.Amount, &q.Unit
}
