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

// DueCascades returns the plants of which a cascade is to be looked at again,
// the longest due first.
func (db *DB) DueCascades(ctx context.Context) ([]PlantID, error) {
	var list []PlantID
	err := db.pool.SelectContext(ctx, &list, `select plant_id from due_cascades()`)
	return list, translate(ctx, err)
}
