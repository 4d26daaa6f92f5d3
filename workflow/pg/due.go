package pg

import (
	"context"
	"database/sql"
)

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
	return db.plants(ctx, `select plant_id from due_cascades()`)
}

// DueOutboxes returns the plants that have events without a position.
func (db *DB) DueOutboxes(ctx context.Context) ([]PlantID, error) {
	return db.plants(ctx, `select plant_id from due_outbox()`)
}

// WaitingHolds returns the plants with holds that are not acknowledged, or short.
func (db *DB) WaitingHolds(ctx context.Context) ([]PlantID, error) {
	return db.plants(ctx, `select plant_id from waiting_holds()`)
}

// CheckedPlants returns the plants with instruments that are to be checked every
// so many days.
func (db *DB) CheckedPlants(ctx context.Context) ([]PlantID, error) {
	return db.plants(ctx, `select plant_id from checked_plants()`)
}

// DueLog is a plant whose log is behind its trail. Waiting: entries stand in line
// for it; else only a checkpoint is missing.
type DueLog struct {
	Plant   PlantID `db:"plant_id"`
	Waiting bool    `db:"waiting"`
}

// DueLogs returns the plants whose log is behind their trail.
func (db *DB) DueLogs(ctx context.Context) ([]DueLog, error) {
	var list []DueLog
	err := db.pool.SelectContext(ctx, &list, `select plant_id, waiting from due_log()`)
	return list, translate(ctx, err)
}

func (db *DB) plants(ctx context.Context, query string) ([]PlantID, error) {
	var list []PlantID
	err := db.pool.SelectContext(ctx, &list, query)
	return list, translate(ctx, err)
}

// Queue lends the pool to the job queue, whose tables know no plant. Nothing else
// may go past InTx and Read.
func (db *DB) Queue() *sql.DB { return db.pool.DB }
