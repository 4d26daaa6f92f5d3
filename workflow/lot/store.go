package lot

import (
	"cmp"
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

// Every field may be brought up to date, so nothing of a product conflicts: a
// row that says something else is news.
var productSieve = pg.Sieve{
	Noun: "product", Key: "product",
	Columns: `code text, name text, ready_to_eat boolean, supports_growth boolean, consumers text, shelf_life_days int`,
	Table: `product t on t.code = r.code
		and (t.name, t.ready_to_eat, t.supports_growth, t.consumers, t.shelf_life_days)
		is not distinct from (r.name, r.ready_to_eat, r.supports_growth, r.consumers, r.shelf_life_days)`,
	Same: []pg.Same{{Field: "product", If: "true"}},
}

type productRow struct {
	Code           string    `json:"code"`
	Name           string    `json:"name"`
	ReadyToEat     *bool     `json:"ready_to_eat"`
	SupportsGrowth *bool     `json:"supports_growth"`
	Consumers      Consumers `json:"consumers"`
	ShelfLifeDays  *int      `json:"shelf_life_days"`
}

// AddProducts registers products and returns those of which something is new;
// one that is known already is brought up to date.
func AddProducts(ctx context.Context, tx *pg.Tx, list []Product) ([]Product, error) {
	const add = `
insert into product (plant_id, code, name, ready_to_eat, supports_growth, consumers, shelf_life_days)
select $1, code, name, ready_to_eat, supports_growth, consumers, shelf_life_days
from json_to_recordset($2) as r(code text, name text, ready_to_eat boolean, supports_growth boolean,
  consumers text, shelf_life_days int)
where $3::timestamptz is not null
on conflict on constraint product_code do update set name = excluded.name, ready_to_eat = excluded.ready_to_eat,
  supports_growth = excluded.supports_growth, consumers = excluded.consumers,
  shelf_life_days = excluded.shelf_life_days, version = product.version + 1`
	rows := make([]productRow, len(list))
	for i, p := range list {
		rows[i] = productRow(p)
	}
	var bad fault.Rows
	fresh, err := pg.Sift(ctx, tx, productSieve, rows, func(r productRow) string { return r.Code }, &bad)
	if err != nil || len(bad) > 0 {
		return nil, cmp.Or(err, bad.Err())
	}
	if _, err := tx.Insert(ctx, add, pg.Pick(rows, fresh)); err != nil {
		return nil, fmt.Errorf("add products: %w", err)
	}
	return pg.Pick(list, fresh), nil
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

// A lot that was only named so far is registered by its first row.
var lotSieve = pg.Sieve{
	Noun: "lot", Key: "lot",
	Columns: `code text, product text, made_at timestamptz, made_from timestamptz, made_until timestamptz,
		quantity numeric, quantity_unit text`,
	Table: `lot t on t.code = r.code and t.registered`,
	Same: []pg.Same{
		{Field: "product", If: `r.product = coalesce((select p.code from product p
			where p.plant_id = t.plant_id and p.product_id = t.product_id), '')`},
		{Field: "made_at", If: "t.made_at is not distinct from r.made_at"},
		{Field: "made_from", If: "t.made_from is not distinct from r.made_from"},
		{Field: "made_until", If: "t.made_until is not distinct from r.made_until"},
		{Field: "quantity", If: "t.quantity is not distinct from r.quantity"},
		{Field: "quantity_unit", If: "t.quantity_unit is not distinct from r.quantity_unit"},
	},
}

// Add registers lots and returns those that are new. A lot that rows have named
// before takes what is said of it now; the same lot again is left as it is.
func Add(ctx context.Context, tx *pg.Tx, list []Lot) ([]Lot, error) {
	rows := make([]lotRow, len(list))
	for i, l := range list {
		rows[i] = lotRow{Code: l.Code, Product: l.Product, MadeAt: l.MadeAt, MadeFrom: l.MadeFrom, MadeUntil: l.MadeUntil}
		rows[i].Quantity, rows[i].Unit = split(l.Quantity)
	}
	var bad fault.Rows
	fresh, err := pg.Sift(ctx, tx, lotSieve, rows, func(r lotRow) string { return r.Code }, &bad)
	if err != nil || len(bad) > 0 {
		return nil, cmp.Or(err, bad.Err())
	}
	if _, err := tx.Insert(ctx, addLots, pg.Pick(rows, fresh)); err != nil {
		return nil, fmt.Errorf("add lots: %w", err)
	}
	return pg.Pick(list, fresh), nil
}

func split(q *unit.Quantity) (amount, of *string) {
	if q == nil {
		return nil, nil
	}
	return &q.Amount, &q.Unit
}
