package pg

import "context"

// Due is a deviation that is due for a new trace run.
type Due struct {
	Plant     PlantID `db:"plant_id"`
	Deviation int64   `db:"deviation_id"`
}

// DueDeviations returns the deviations of every plant that are due for a new
// trace run, the longest due first.
func (db *DB) DueDeviations(ctx context.Context) ([]Due, error) {
	var list []Due
	err := db.pool.SelectContext(ctx, &list, `select plant_id, deviation_id from due_deviations()`)
	return list, translate(ctx, err)
}
