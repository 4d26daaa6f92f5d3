package workflow

import (
	"context"
	"fmt"
	"time"

	"lastgood/workflow/fault"
	"lastgood/workflow/hold"
	"lastgood/workflow/pg"
)

// HoldTags are holds that tags are to be printed of, with what the tags say of
// the plant and of the instruments that the holds are because of.
type HoldTags struct {
	Plant string
	Zone  *time.Location
	Holds []hold.Hold
	// The codes of the instruments that opened the deviations and cascades, by number.
	Deviations, Cascades map[int64]string
}

// HoldTag returns the tag of one standing hold.
func (s *Service) HoldTag(ctx context.Context, sc pg.Scope, id hold.ID) (HoldTags, error) {
	return ask(ctx, s, sc, func(tx *pg.Tx) (t HoldTags, err error) {
		h, err := hold.Get(ctx, tx, id)
		if err != nil {
			return t, err
		}
		return tagsOf(ctx, tx, []hold.Hold{h})
	})
}

// DeviationTags returns the tags of a deviation's standing holds, in order of
// lot.
func (s *Service) DeviationTags(ctx context.Context, sc pg.Scope, id DeviationID) (HoldTags, error) {
	return ask(ctx, s, sc, func(tx *pg.Tx) (t HoldTags, err error) {
		if _, err := getDeviation(ctx, tx, id, ""); err != nil {
			return t, err
		}
		list, err := hold.Of(ctx, tx, int64(id))
		if err != nil {
			return t, err
		}
		if len(list) == 0 {
			return t, fault.New(fault.NotFound, "no-holds", "deviation %d holds nothing: there is no tag to print", id)
		}
		return tagsOf(ctx, tx, list)
	})
}

func tagsOf(ctx context.Context, tx *pg.Tx, list []hold.Hold) (t HoldTags, err error) {
	t = HoldTags{Holds: list, Deviations: map[int64]string{}, Cascades: map[int64]string{}}
	if err := tx.GetContext(ctx, &t.Plant, `select name from plant where plant_id = $1`, tx.Plant); err != nil {
		return t, fmt.Errorf("plant: %w", err)
	}
	if t.Zone, err = zoneOf(ctx, tx); err != nil {
		return t, err
	}
	const ofDeviation = `select i.code from deviation d join instrument i using (plant_id, instrument_id) where d.plant_id = $1 and d.deviation_id = $2`
	const ofCascade = `select i.code from cascade k join instrument i using (plant_id, instrument_id) where k.plant_id = $1 and k.cascade_id = $2`
	for _, h := range list {
		into, id, q := t.Deviations, h.Deviation, ofDeviation
		if h.Deviation == 0 {
			into, id, q = t.Cascades, h.Cascade, ofCascade
		}
		if _, known := into[id]; known || id == 0 {
			continue
		}
		var code string
		if err := tx.GetContext(ctx, &code, q, tx.Plant, id); err != nil {
			return t, fmt.Errorf("instrument: %w", err)
		}
		into[id] = code
	}
	return t, nil
}
