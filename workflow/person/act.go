package person

import (
	"context"
	"fmt"

	"lastgood/workflow/actor"
	"lastgood/workflow/pg"
)

// Administered records that whoever acts administered people or roles. They sign
// nothing from then on (design notes on signing, S-6).
func Administered(ctx context.Context, tx *pg.Tx, action, subject string) error {
	if tx.By.Kind != actor.Person {
		return nil
	}
	const add = `insert into administration_act (plant_id, person, action, subject, done_at) values ($1, $2, $3, $4, $5)`
	if _, err := tx.ExecContext(ctx, add, tx.Plant, tx.By.ID, action, subject, tx.Now); err != nil {
		return fmt.Errorf("administered: %w", err)
	}
	return nil
}

// Administrators returns everyone who ever administered people or roles, as the
// trail calls them.
func Administrators(ctx context.Context, tx *pg.Tx) (list []string, err error) {
	const q = `select distinct person from administration_act where plant_id = $1 order by person`
	err = tx.SelectContext(ctx, &list, q, tx.Plant)
	return list, err
}

func hasAdministered(ctx context.Context, tx *pg.Tx, code string) (has bool, err error) {
	err = tx.GetContext(ctx, &has, `select exists (select from administration_act where plant_id = $1 and person = $2)`, tx.Plant, code)
	return has, err
}
