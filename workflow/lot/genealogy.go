package lot

import (
	"context"
	"fmt"
	"time"

	"github.com/lib/pq"

	"lastgood/workflow/pg"
)

// Direction is which way a genealogy is followed.
type Direction string

// The directions.
const (
	Forward  Direction = "forward"  // what became of a lot
	Backward Direction = "backward" // what it was made of
)

// LinkKind is how one lot came into another.
type LinkKind string

// The kinds of links.
const (
	ByTransformation LinkKind = "transformation"
	ByVessel         LinkKind = "vessel"      // it stood in the same vessel, with it or before it
	ByQuarantine     LinkKind = "quarantined" // a row that would close a cycle says so
)

// Link is one way in which one lot came into another. What came over in a vessel
// has no quantity: nobody can say.
type Link struct {
	Kind     LinkKind  `db:"kind"`
	From     ID        `db:"input_lot_id"`
	To       ID        `db:"output_lot_id"`
	Event    string    `db:"event"`    // of a transformation
	Location string    `db:"location"` // of a vessel
	At       time.Time `db:"at"`       // of a vessel: when product of both first was there
	In       *string   `db:"input_quantity"`
	Out      *string   `db:"output_quantity"`
	Unit     *string   `db:"quantity_unit"`
}

// Family is the lots that a lot goes into, or was made of, and how.
type Family struct {
	Lots      []ID       // in order of steps, the lot itself first
	Steps     map[ID]int // the fewest from the lot to each
	Links     []Link     // between these lots
	Truncated bool       // there are more lots or links than were asked for
}

// LinksPerLot bounds the links of a family, by its most lots.
const LinksPerLot = 4

var links = map[Direction]string{
	Forward:  linksOf("t.input_lot_id", "a.lot_id", "q.input_lot_id", "stay a "+mixed),
	Backward: linksOf("t.output_lot_id", "b.lot_id", "q.output_lot_id", "stay b "+tainting),
}

func linksOf(made, stood, aside, stays string) string {
	return `
select 'transformation' as kind, t.input_lot_id, t.output_lot_id, t.event, '' as location, t.at,
  cast(t.input_quantity as text) as input_quantity, cast(t.output_quantity as text) as output_quantity, t.quantity_unit
from transformation t where t.plant_id = $1 and ` + made + ` = any($2)
union all
select 'vessel', a.lot_id, b.lot_id, '', v.code, min(greatest(a.stayed_from, b.stayed_from)), null, null, null
from ` + stays + ` where ` + stood[:1] + `.plant_id = $1 and ` + stood + ` = any($2) group by a.lot_id, b.lot_id, v.code
union all
select 'quarantined', q.input_lot_id, q.output_lot_id, q.event, '', q.at, cast(q.input_quantity as text),
  cast(q.output_quantity as text), q.quantity_unit
from transformation_quarantine q where q.plant_id = $1 and ` + aside + ` = any($2) and ` + standing + `
order by 2, 3, 6, 1, 4, 5 limit $3`
}

// Follow follows a lot for so many steps (0: to the end), up to most lots and
// LinksPerLot times as many links.
func Follow(ctx context.Context, tx *pg.Tx, start ID, way Direction, steps, most int) (Family, error) {
	f := Family{Lots: []ID{start}, Steps: map[ID]int{start: 0}}
	level := f.Lots
	for n := 1; len(level) > 0 && (steps == 0 || n <= steps); n++ {
		var found []Link
		left := LinksPerLot*most - len(f.Links)
		if err := tx.SelectContext(ctx, &found, links[way], tx.Plant, pq.Array(level), left+1); err != nil {
			return f, fmt.Errorf("genealogy: %w", err)
		}
		if len(found) > left {
			found, f.Truncated = found[:left], true
		}
		level = nil
		for _, l := range found {
			next := l.To
			if way == Backward {
				next = l.From
			}
			_, known := f.Steps[next]
			if !known && len(f.Lots) == most {
				f.Truncated = true
				continue
			}
			f.Links = append(f.Links, l)
			if !known {
				f.Steps[next] = n
				f.Lots, level = append(f.Lots, next), append(level, next)
			}
		}
	}
	return f, nil
}
