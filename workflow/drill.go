package workflow

import (
	"context"
	"fmt"
	"slices"
	"time"

	"lastgood/policy/unit"
	"lastgood/workflow/fault"
	"lastgood/workflow/instrument"
	"lastgood/workflow/pg"
)

// Supposition is a failure that nobody has found: what a drill asks about. With
// neither points nor an error the instrument is supposed to be lost, without an
// as-found value.
type Supposition struct {
	Instrument string
	At         time.Time  // of the supposed check; zero: now
	Scale      unit.Scale // of what follows
	Points     []SupposedPoint
	Error      *unit.Micro // the same error at every point of its latest check
}

// SupposedPoint is what a supposed check finds at one point.
type SupposedPoint struct {
	At          unit.Micro  // what the instrument shows
	Error       unit.Micro  // indicated − true; a difference
	Uncertainty *unit.Micro // of the reference, expanded (k = 2); nil: as at its latest check
}

// Drill is what a supposed failure would set off: one report for each case that
// it would open or widen, the supposed one first, and what they come to. Nothing
// of it is recorded, held or routed.
type Drill struct {
	Reports []Report
	Totals  Totals
}

// supposed stands where a deviation's state does.
const supposed State = "supposed"

// Drill runs the trace, the assessment and the routing on a supposed failure. It
// runs in a transaction that can write nothing. fault.NotFound: there is no such
// instrument. fault.Invalid: the supposition is none, or would pass.
func (s *Service) Drill(ctx context.Context, sc pg.Scope, sup Supposition) (d Drill, err error) {
	began := s.db.Now()
	err = s.db.Read(ctx, sc, func(tx *pg.Tx) error {
		dr, err := suppose(ctx, tx, sup)
		if err != nil {
			return err
		}
		if err := dr.spread(ctx, tx); err != nil {
			return fmt.Errorf("drill of %s: %w", sup.Instrument, err)
		}
		d, err = dr.report(ctx, tx)
		return err
	})
	d.Totals.Took = s.db.Now().Sub(began)
	return d, err
}

// drill is one drill at work.
type drill struct {
	policy  sitePolicy
	known   map[string]instrument.Stored
	subject instrument.Stored
	check   *instrument.Recorded // the supposed one

	fallen map[int64]string                 // checks that lose their worth, with the reference that takes it
	cases  map[instrument.ID][]supposedCase // as they would stand
	order  []instrument.Stored              // instruments, as the supposition reaches them
}

// suppose makes the supposed check, on top of what is known of the instrument.
func suppose(ctx context.Context, tx *pg.Tx, sup Supposition) (*drill, error) {
	d := &drill{fallen: map[int64]string{}, cases: map[instrument.ID][]supposedCase{}}
	var err error
	if d.known, err = instrument.Known(ctx, tx); err != nil {
		return nil, err
	}
	in, ok := d.known[sup.Instrument]
	if !ok {
		return nil, fault.New(fault.NotFound, "unknown-instrument", "there is no instrument %s", sup.Instrument)
	}
	d.subject = in
	if d.policy, err = currentPolicy(ctx, tx); err != nil {
		return nil, err
	}
	if sup.At.IsZero() {
		sup.At = tx.Now
	}
	h, err := instrument.LoadHistory(ctx, tx, in)
	if err != nil {
		return nil, err
	}
	served, err := servedLimits(ctx, tx, in.ID, d.policy)
	if err != nil {
		return nil, err
	}
	c, err := sup.check(in, h, served)
	if err != nil {
		return nil, err
	}
	j := c.Judge(in.ToleranceDiff(), d.policy.DecisionRule)
	d.check = &instrument.Recorded{Found: j.Found, Left: j.Left, Check: c}
	if passed(d.check) {
		return nil, fault.New(fault.Invalid, "passes", "a check that found this would pass: the tolerance of %s is %s, and nothing would be opened",
			in.Code, in.ToleranceDiff()).In("body.error")
	}
	return d, nil
}

// report judges every case that the supposition opens or widens.
func (d *drill) report(ctx context.Context, tx *pg.Tx) (Drill, error) {
	out := Drill{}
	sum := newSummer()
	for _, in := range d.order {
		for _, c := range d.cases[in.ID] {
			e, err := d.evidenceOf(ctx, tx, in, c)
			if err != nil {
				return out, err
			}
			r, err := d.reportOf(ctx, tx, e)
			if err != nil {
				return out, err
			}
			out.Reports = append(out.Reports, r)
			sum.add(e, r)
		}
	}
	out.Totals = sum.totals()
	return out, nil
}

func (d *drill) evidenceOf(ctx context.Context, tx *pg.Tx, in instrument.Stored, c supposedCase) (*evidence, error) {
	e := newEvidence(Deviation{Instrument: in.ID, State: supposed, FailedAt: time.UnixMicro(c.o.at()).UTC(), PolicyVersion: d.policy.version})
	e.policy, e.in, e.history, e.opening = d.policy, in, c.history, c.o
	return e, e.collect(ctx, tx)
}

func (d *drill) reportOf(ctx context.Context, tx *pg.Tx, e *evidence) (r Report, err error) {
	r.Deviation = e.deviation
	if r.Run.Assessments, err = e.judgeAll(); err != nil {
		return r, err
	}
	if err := e.weigh(ctx, tx, r.Run.Assessments); err != nil {
		return r, err
	}
	e.describe(&r.Run)
	if isSupposed(e.opening) {
		r.Run.OpenedBy = "is supposed: " + e.opening.words()
		r.Run.Notes = append(slices.Clone(r.Run.Notes), d.joins(e)...)
	}
	r.Holds, r.Shipped, err = e.affected(ctx, tx)
	return r, err
}

// joins says loudly that the instrument is in doubt already.
func (d *drill) joins(e *evidence) []string {
	for _, o := range openings(e.history) {
		if !isSupposed(o) && o.at() <= d.check.At && d.check.At < o.until {
			return []string{e.in.Code + " is in doubt already since " + time.UnixMicro(o.at()).UTC().Format(time.RFC3339) +
				": a failure now would join that case"}
		}
	}
	return nil
}
