package workflow

import (
	"context"

	"lastgood/workflow/pg"
	"lastgood/workflow/trail/checkpoint"
)

// Service is the engine: every command and every question goes through it.
type Service struct {
	db   *pg.DB
	gate *pg.Prepared
	key  *checkpoint.Key // nil: nothing is signed in the name of the plant
	// witness is given every checkpoint that is signed here; nil: nobody is.
	witness func(signed []byte) error
}

// New returns the engine on a database. It fails if the written procedure
// contradicts itself.
func New(db *pg.DB) (*Service, error) {
	if err := checkProcedures(); err != nil {
		return nil, err
	}
	return &Service{db: db, gate: pg.NewPrepared(GateSQL)}, nil
}

// Plant returns the plant of a name, making it if there is none. altitudeM [m]
// is nil where unknown.
func (s *Service) Plant(ctx context.Context, name, timeZone string, altitudeM *float64) (pg.PlantID, error) {
	if id, there, err := s.db.PlantNamed(ctx, name); err != nil || there {
		return id, err
	}
	return s.db.CreatePlant(ctx, name, timeZone, altitudeM)
}

// Ready says whether the database can be reached.
func (s *Service) Ready(ctx context.Context) error { return s.db.Ping(ctx) }
