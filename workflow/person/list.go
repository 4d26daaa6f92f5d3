package person

import (
	"context"
	"fmt"
	"time"

	"lastgood/workflow/pg"
)

// List returns the people of the plant whose code comes after another, in order
// of code, with the roles that they hold now or later. Those who have left are
// among them: records name them. limit 0: all.
func List(ctx context.Context, tx *pg.Tx, after string, limit int) ([]Person, error) {
	var rows []struct {
		Code        string     `db:"code"`
		Name        string     `db:"name"`
		Title       string     `db:"title"`
		ActiveUntil *time.Time `db:"active_until"`
		Version     int        `db:"version"`
	}
	const q = `select code, name, title, active_until, version from person where plant_id = $1 and code > $2 order by code limit nullif($3, 0)`
	if err := tx.SelectContext(ctx, &rows, q, tx.Plant, after, limit); err != nil {
		return nil, fmt.Errorf("people: %w", err)
	}
	out := make([]Person, len(rows))
	at := map[string]int{}
	for i, r := range rows {
		out[i] = Person{Identity{r.Code, r.Name, r.Title}, r.ActiveUntil, r.Version, nil}
		at[r.Code] = i
	}
	var held []capacity
	const roles = capacities + `and (held_until is null or held_until > $2 and held_until > held_from) order by code, role, stands_in_for nulls first, held_from`
	if err := tx.SelectContext(ctx, &held, roles, tx.Plant, tx.Now); err != nil {
		return nil, fmt.Errorf("people: %w", err)
	}
	for _, c := range held {
		if i, there := at[c.Code]; there {
			out[i].Roles = append(out[i].Roles, Held{c.Role, c.For, c.From, c.Until, Qualification{c.Kind, c.Reference, c.ValidTo}})
		}
	}
	return out, nil
}
