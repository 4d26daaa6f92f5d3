package workflow

import (
	"context"
	"slices"

	"lastgood/policy/disposition"
	"lastgood/policy/unit"
	"lastgood/workflow/actor"
	"lastgood/workflow/decision"
	"lastgood/workflow/fault"
	"lastgood/workflow/lot"
	"lastgood/workflow/person"
	"lastgood/workflow/pg"
	"lastgood/workflow/signoff"
)

// SignsWithin is how long ago whoever signs may have proved who they are.
const SignsWithin = recently

// RecordsOf returns the newest version of everything that is signed of a
// deviation, by kind and number.
func (s *Service) RecordsOf(ctx context.Context, sc pg.Scope, id DeviationID) ([]signoff.Record, error) {
	return ask(ctx, s, sc, func(tx *pg.Tx) ([]signoff.Record, error) {
		if _, err := getDeviation(ctx, tx, id, ""); err != nil {
			return nil, err
		}
		return signoff.Of(ctx, tx, int64(id))
	})
}

// RecordVersions returns every version of a record, the first one first.
// fault.NotFound: there is no such record.
func (s *Service) RecordVersions(ctx context.Context, sc pg.Scope, kind signoff.Kind, id int64) ([]signoff.Record, error) {
	if !slices.Contains(signoff.Kinds, kind) {
		return nil, fault.New(fault.NotFound, "unknown-record", "there is no kind of record %s; there are %s", kind, fault.Words(signoff.Kinds)).In("kind")
	}
	return ask(ctx, s, sc, func(tx *pg.Tx) ([]signoff.Record, error) {
		list, err := signoff.Versions(ctx, tx, kind, id)
		if err == nil && len(list) == 0 {
			err = fault.New(fault.NotFound, "unknown-record", "there is no %s %d to be signed", kind, id)
		}
		return list, err
	})
}

// ToBeSigned returns the records of the plant that wait for a role in which
// whoever asks may act now, the longest waiting first.
func (s *Service) ToBeSigned(ctx context.Context, sc pg.Scope) ([]signoff.Record, error) {
	if sc.By.Kind != actor.Person {
		return nil, fault.New(fault.Forbidden, "human-signature-required", "a person signs, never a key")
	}
	return ask(ctx, s, sc, func(tx *pg.Tx) ([]signoff.Record, error) {
		list, err := signoff.Waiting(ctx, tx)
		if err != nil {
			return nil, err
		}
		if list, err = alive(ctx, tx, list); err != nil {
			return nil, err
		}
		if list, err = current(ctx, tx, list); err != nil {
			return nil, err
		}
		may := map[disposition.Role]bool{}
		return slices.DeleteFunc(list, func(r signoff.Record) bool {
			role := r.Open()[0].Role
			if _, known := may[role]; !known {
				_, err := person.CapacityOf(ctx, tx, tx.By.ID, role)
				may[role] = err == nil
			}
			return !may[role]
		}), nil
	})
}

// PortionState is a portion of a lot in doubt with what is known and decided of
// it.
type PortionState struct {
	lot.Portion
	Quantity *unit.Quantity     // nil: nobody knows how much it is
	Finding  Finding            // of its lot; without a verdict the last run does not doubt it
	Options  []Option           // what may become of it; none of what nothing is left of
	Decision *decision.Decision // that stands; nil: none
	Evidence []decision.Evidence
}

// Option is a disposition with who would sign for it: the records are made with
// these seats.
type Option struct {
	disposition.Option
	Decided []signoff.Seat // before it is carried out, in order
	Done    []signoff.Seat // afterwards
}

// choices returns what may become of a portion with who would sign for it.
func (c *docket) choices(p lot.Portion) []Option {
	if q := c.quantity(p); p.Label == "" && q != nil && q.Rat().Sign() == 0 {
		return nil
	}
	var out []Option
	for _, o := range c.options(p) {
		n := Option{Option: o}
		if !o.Barred {
			dec, has := c.decision(p.ID)
			if !has || dec.Kind != o.Disposition {
				dec = decision.Decision{} // a new one: nothing of it is settled
			}
			n.Decided, n.Done = c.seats(dec, c.finding(p.Lot), o), c.executionSeats(dec, o)
		}
		out = append(out, n)
	}
	return out
}

// Signed is the state of a proposal that everyone has signed. It follows from its
// record and is stored nowhere.
const Signed decision.State = "signed"

// seen returns a disposition with the state that people see.
func (c *docket) seen(dec decision.Decision) decision.Decision {
	if r, ok := c.record(signoff.Disposition, int64(dec.ID)); ok && r.Complete() && dec.State == decision.Proposed {
		dec.State = Signed
	}
	return dec
}

// PortionsOf returns the portions of the lots that a deviation doubts, by number.
func (s *Service) PortionsOf(ctx context.Context, sc pg.Scope, id DeviationID) ([]PortionState, error) {
	return ask(ctx, s, sc, func(tx *pg.Tx) ([]PortionState, error) {
		c, err := docketAt(ctx, tx, id)
		if err != nil {
			return nil, err
		}
		out := make([]PortionState, len(c.portions))
		for i, p := range c.portions {
			out[i] = PortionState{Portion: p, Quantity: c.quantity(p), Finding: c.finding(p.Lot), Options: c.choices(p), Evidence: c.evidenceOf(p)}
			if dec, has := c.decision(p.ID); has {
				dec = c.seen(dec)
				out[i].Decision = &dec
			}
		}
		slices.SortFunc(out, func(a, b PortionState) int { return int(a.ID - b.ID) })
		return out, nil
	})
}

// DispositionStory is a disposition with all that became of it.
type DispositionStory struct {
	decision.Decision
	Portion   lot.Portion
	Quantity  *unit.Quantity // nil: nobody knows
	Reports   []decision.Done
	Record    *signoff.Record // what is signed before it is carried out
	Execution *signoff.Record // what is signed afterwards; nil: not all was reported
}

// Disposition returns one disposition. fault.NotFound: there is none.
func (s *Service) Disposition(ctx context.Context, sc pg.Scope, id decision.ID) (DispositionStory, error) {
	return ask(ctx, s, sc, func(tx *pg.Tx) (out DispositionStory, err error) {
		if out.Decision, err = decision.Get(ctx, tx, id); err != nil {
			return out, err
		}
		c, err := docketAt(ctx, tx, DeviationID(out.Deviation))
		if err != nil {
			return out, err
		}
		out.Decision = c.seen(out.Decision)
		out.Portion = c.portion(out.Decision.Portion)
		out.Quantity, out.Reports = c.quantity(out.Portion), c.doneOf(id)
		if r, ok := c.record(signoff.Disposition, int64(id)); ok {
			out.Record = &r
		}
		if r, ok := c.record(signoff.Execution, int64(id)); ok {
			out.Execution = &r
		}
		return out, nil
	})
}

// EvidenceBytes returns the bytes of a digest that are kept, with their media
// type. fault.NotFound: there are none.
func (s *Service) EvidenceBytes(ctx context.Context, sc pg.Scope, digest []byte) (decision.Paper, error) {
	return ask(ctx, s, sc, func(tx *pg.Tx) (decision.Paper, error) { return decision.Kept(ctx, tx, digest) })
}

func docketAt(ctx context.Context, tx *pg.Tx, id DeviationID) (*docket, error) {
	d, err := getDeviation(ctx, tx, id, "")
	if err != nil {
		return nil, err
	}
	return docketOf(ctx, tx, d)
}
