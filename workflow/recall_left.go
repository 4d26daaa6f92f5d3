package workflow

import (
	"context"
	"crypto/sha256"
	"fmt"
	"strings"
	"time"

	"github.com/go-json-experiment/json"
	"github.com/lib/pq"

	"lastgood/policy/limit"
	"lastgood/workflow/lot"
	"lastgood/workflow/pg"
)

// Left is product in doubt that has left: of one lot, with one shipment.
type Left struct {
	Lot       string        `json:"lot"`
	Shipment  string        `json:"shipment"`
	Consignee string        `json:"consignee"` // empty: nobody said
	Quantity  *string       `json:"quantity"`  // null: nobody said
	Unit      *string       `json:"quantity_unit"`
	ShippedAt time.Time     `json:"shipped_at"`
	Verdict   limit.Verdict `json:"verdict"`

	lot lot.ID
}

// inDoubt says whether the last run leaves a lot in doubt: not what met its limit
// after all.
func (f Finding) inDoubt() bool { return f.Verdict != "" && f.Verdict != limit.Met }

// left returns the product in doubt that has left, descendants among it, in order
// of lot and time. What was released and then shipped is not among it.
func (c *docket) left() []Left {
	out := []Left{}
	for _, f := range c.findings {
		if !f.inDoubt() {
			continue
		}
		for _, o := range c.amounts[f.LotID].shipped {
			out = append(out, Left{f.Lot, o.Ref, strings.TrimSpace(o.Consignee), o.Quantity, o.Unit, o.At.UTC(), f.Verdict, f.LotID})
		}
	}
	return out
}

// leftDigest is the digest of what has left, for whether anything of it changed
// since somebody decided on it.
func (c *docket) leftDigest() []byte {
	text, err := json.Marshal(c.left(), json.Deterministic(true))
	if err != nil {
		panic(err) // texts and times
	}
	d := sha256.Sum256(text)
	return d[:]
}

// leftSince is when it was first known that product in doubt had left; zero:
// none has.
func (c *docket) leftSince(ctx context.Context, tx *pg.Tx) (since time.Time, err error) {
	list := c.left()
	if len(list) == 0 {
		return since, nil
	}
	lots, refs := make([]int64, len(list)), make([]string, len(list))
	for i, l := range list {
		lots[i], refs[i] = int64(l.lot), l.Shipment
	}
	const q = `select min(recorded_at) from shipment where plant_id = $1 and (lot_id, shipment) in (select * from unnest($2::bigint[], $3::text[]))`
	if err := tx.GetContext(ctx, &since, q, tx.Plant, pq.Array(lots), pq.Array(refs)); err != nil {
		return since, fmt.Errorf("when it was known to have left: %w", err)
	}
	if since.Before(c.d.OpenedAt) {
		since = c.d.OpenedAt
	}
	return since, nil
}

// named is the name of its portion.
func (l Left) named() string { return l.Lot + " / shipment " + l.Shipment }

// productsOf returns what product lots are; nil: nobody said.
func productsOf(ctx context.Context, tx *pg.Tx, ids []lot.ID) (map[lot.ID]*string, error) {
	var rows []struct {
		ID   lot.ID  `db:"lot_id"`
		Code *string `db:"code"`
	}
	const q = `select l.lot_id, p.code from lot l left join product p using (plant_id, product_id) where l.plant_id = $1 and l.lot_id = any($2)`
	if err := tx.SelectContext(ctx, &rows, q, tx.Plant, pq.Array(ids)); err != nil {
		return nil, fmt.Errorf("products: %w", err)
	}
	out := map[lot.ID]*string{}
	for _, r := range rows {
		out[r.ID] = r.Code
	}
	return out, nil
}
