package workflow

import (
	"context"
	"errors"
	"fmt"

	"lastgood/workflow/actor"
	"lastgood/workflow/fault"
	"lastgood/workflow/hold"
	"lastgood/workflow/lot"
	"lastgood/workflow/pg"
	"lastgood/workflow/trail"
)

// Aside is a row that was put aside instead of being recorded.
type Aside struct {
	Index  int    `json:"index"` // in the list
	ID     int64  `json:"id"`    // in quarantine
	Field  string `json:"field"`
	Rule   string `json:"rule"`
	Detail string `json:"detail"`
}

// cycleReason is the reason of the holds on the lots of a cycle.
const cycleReason = "its genealogy has a cycle"

// errCycle: a row closes a cycle, and its lots are to be held, for which the plant
// must be owned.
var errCycle = errors.New("a row closes a cycle")

// AddTransformations records what was made of what. A row that would make a lot
// its own ancestor is put into quarantine: its lots are held, and count as one
// mixed lot until a person rejects the row. Deviations that doubt one of them
// become due for a new trace run.
func (s *Service) AddTransformations(ctx context.Context, sc pg.Scope, list []lot.Transformation) (Counts, error) {
	if len(list) == 0 {
		return Counts{}, nil
	}
	c, err := s.addTransformations(ctx, sc, list, false)
	if errors.Is(err, errCycle) { // nothing was written; cycles are rare, and owning the plant is dear
		return s.addTransformations(ctx, sc, list, true)
	}
	return c, err
}

func (s *Service) addTransformations(ctx context.Context, sc pg.Scope, list []lot.Transformation, own bool) (Counts, error) {
	f := facts[lot.Transformation]{action: "transformation.recorded", touch: touchLots, by: func(t lot.Transformation) string { return t.Input }}
	return do(ctx, s, sc, f.action, list, statusCreated, func(tx *pg.Tx) (c Counts, err error) {
		if own {
			err = tx.OwnPlant(ctx)
		} else {
			_, err = tx.SharePlant(ctx)
		}
		if err != nil {
			return c, err
		}
		if err := tx.OwnStream(ctx, "facts"); err != nil {
			return c, err
		}
		if err := tx.OwnGenealogy(ctx); err != nil {
			return c, err
		}
		fresh, aside, err := lot.AddTransformations(ctx, tx, list)
		if err != nil {
			return c, err
		}
		c = Counts{Accepted: len(fresh), Unchanged: len(list) - len(fresh) - len(aside)}
		for _, q := range aside {
			if q.Fresh && !own {
				return c, errCycle
			}
			c.Quarantined = append(c.Quarantined, Aside{q.Index, q.ID, "output_lot", "cycle", q.Detail})
		}
		if err := holdCycles(ctx, tx, aside); err != nil || len(fresh) == 0 {
			return c, err
		}
		return c, f.note(ctx, tx, fresh)
	})
}

// holdCycles holds the lots of the rows that have just gone into quarantine, as
// far as they are in control. The caller owns the plant.
func holdCycles(ctx context.Context, tx *pg.Tx, aside []lot.Quarantined) error {
	for _, q := range aside {
		if !q.Fresh {
			continue
		}
		known, err := lot.Get(ctx, tx, q.Lots)
		if err != nil {
			return err
		}
		where, err := lot.Positions(ctx, tx, q.Lots)
		if err != nil {
			return err
		}
		codes := make([]string, len(q.Lots))
		for i, id := range q.Lots {
			codes[i] = known[id].Code
		}
		if err := touchLots(ctx, tx, codes); err != nil {
			return err
		}
		for i, id := range q.Lots {
			if where[id].InControl {
				if err := holdAs(ctx, tx, codes[i], cycleReason); err != nil {
					return err
				}
			}
		}
		if err := trail.Append(ctx, tx, trail.Entry{Stream: "administration", Action: "transformation.quarantined", Subject: fmt.Sprint(q.ID),
			Reason: q.Detail, After: map[string]any{"quarantine": q.ID, "lots": codes}}); err != nil {
			return err
		}
	}
	return nil
}

// holdAs holds a whole lot for a reason.
func holdAs(ctx context.Context, tx *pg.Tx, code, reason string) error {
	h, fresh, err := hold.PlaceByHand(ctx, tx, code, "", reason)
	if err != nil || !fresh {
		return err
	}
	return trail.Append(ctx, tx, trail.Entry{Stream: holdStream(h.ID, h.Deviation, h.Cascade), Action: "hold.placed", Subject: h.LotCode,
		Version: h.Version, Reason: reason})
}

// TransformationRuling is what a person decides on a transformation in quarantine.
type TransformationRuling struct {
	Ruling lot.Ruling
	Reason string
	By     string // who decided; of a person who asks for themselves it may be empty
}

// ResolveTransformation records what somebody decided on a transformation in
// quarantine: accepted as commingled, its lots stay one mixed lot; rejected, they
// are again what the other rows say, and deviations that doubt one of them become
// due for a new trace run. Holds stand until QA lifts them.
func (s *Service) ResolveTransformation(ctx context.Context, sc pg.Scope, id int64, r TransformationRuling) (lot.Held, error) {
	if r.By == "" && sc.By.Kind == actor.Person {
		r.By = sc.By.ID
	}
	if err := r.check(); err != nil {
		return lot.Held{}, err
	}
	request := map[string]any{"transformation": id, "ruling": r.Ruling, "reason": r.Reason, "by": r.By}
	return do(ctx, s, sc, "resolve transformation", request, statusDone, func(tx *pg.Tx) (h lot.Held, err error) {
		if _, err := tx.SharePlant(ctx); err != nil {
			return h, err
		}
		if err := tx.OwnGenealogy(ctx); err != nil {
			return h, err
		}
		lots, err := lot.Resolve(ctx, tx, id, lot.Resolution{Ruling: r.Ruling, Reason: r.Reason, DecidedBy: r.By})
		if err != nil {
			return h, err
		}
		if r.Ruling == lot.Rejected {
			if err := touchLots(ctx, tx, lots); err != nil {
				return h, err
			}
		}
		if h, err = lot.InQuarantine(ctx, tx, id); err != nil {
			return h, err
		}
		return h, trail.Append(ctx, tx, trail.Entry{Stream: "administration", Action: "transformation." + string(r.Ruling), Subject: fmt.Sprint(id),
			Reason: r.Reason, After: map[string]any{"quarantine": id, "lots": lots, "decided_by": r.By}})
	})
}

func (r TransformationRuling) check() error {
	switch {
	case r.Ruling != lot.AcceptedAsCommingled && r.Ruling != lot.Rejected:
		return fault.New(fault.Invalid, "unknown-word", "a transformation in quarantine is accepted_as_commingled or rejected").In("verdict")
	case r.Reason == "":
		return fault.New(fault.Invalid, "required", "say why").In("reason")
	case r.By == "":
		return fault.New(fault.Invalid, "required", "say who decided").In("decided_by")
	}
	return nil
}

// QuarantinedTransformations returns transformations in quarantine; only those on
// which nobody has decided, if open.
func (s *Service) QuarantinedTransformations(ctx context.Context, sc pg.Scope, open bool, after int64, limit int) ([]lot.Held, error) {
	return ask(ctx, s, sc, func(tx *pg.Tx) ([]lot.Held, error) { return lot.Quarantine(ctx, tx, open, after, limit) })
}
