package workflow

import (
	"bytes"
	"cmp"
	"context"
	"slices"

	"lastgood/policy/limit"
	"lastgood/policy/unit"
	"lastgood/workflow/fault"
	"lastgood/workflow/pg"
)

// Basis is what one assessment stands on: enough to recompute it by hand.
type Basis struct {
	Run        Run // the last one, which made the assessment
	Assessment Assessment
	// SameEvidence says whether the readings below are those that the run saw.
	// If not, something arrived since and the deviation is due for another run.
	SameEvidence bool
	Readings     []BasisReading
}

// BasisReading is a reading as it was recorded and as it was judged.
type BasisReading struct {
	Value      float64 // as recorded
	Unit       unit.Scale
	Shown      int64  // when it was taken by the instrument's own clock [µs]
	Void       string // why it is not believed; empty: it is
	limit.Path        // at its true time
}

// Basis returns the assessment of a lot under a limit in the deviation's last
// run, with every reading that it was made of. The limit is empty where none
// applied.
func (s *Service) Basis(ctx context.Context, sc pg.Scope, id DeviationID, lot, limitName string) (b Basis, err error) {
	err = s.db.Read(ctx, sc, func(tx *pg.Tx) error {
		e, err := gather(ctx, tx, id)
		if err != nil {
			return err
		}
		if b.Run, err = lastRun(ctx, tx, e.deviation); err != nil {
			return err
		}
		i := slices.IndexFunc(b.Run.Assessments, func(a Assessment) bool { return a.Lot == lot && a.Limit == limitName })
		if i < 0 {
			return fault.New(fault.NotFound, "unknown-assessment", "the last run of deviation %d assessed no lot %s under %s", id, lot, limitName)
		}
		b.Assessment = b.Run.Assessments[i]
		b.SameEvidence = bytes.Equal(b.Run.InputDigest, e.digest.sum())
		b.Readings, err = e.readingsOf(lot, limitName)
		return err
	})
	return b, err
}

// readingsOf returns the readings of the item that decides for a lot and limit.
func (e *evidence) readingsOf(lot, limitName string) ([]BasisReading, error) {
	var decides *item
	var gravest limit.Verdict
	for _, it := range e.items() {
		if e.lots[it.lot].Code != lot || it.limit != limitName {
			continue
		}
		a, doubted, err := e.judge(it)
		if err != nil {
			return nil, err
		}
		if doubted && (decides == nil || gravest.LessGrave(a.Result.Verdict)) {
			decides, gravest = &it, a.Result.Verdict
		}
	}
	if decides == nil {
		return nil, nil
	}
	return e.paths(*decides)
}

// paths returns the readings of an item, none where no limit was in force.
func (e *evidence) paths(it item) ([]BasisReading, error) {
	l, ok := e.policy.InForce(it.limit, e.producedAt(it))
	if !ok {
		return nil, nil
	}
	after, _, _ := windowFor(e.doubt, l.Criterion)
	paths, err := l.Paths(it.series(l), windowed{e.doubt, after, e.clock})
	if err != nil {
		return nil, err
	}
	out := it.recorded()
	for i := range out {
		out[i].Path = paths[i]
	}
	return out, nil
}

// recorded returns the item's readings as they were recorded, in the order of
// its series.
func (it item) recorded() []BasisReading {
	var out []BasisReading
	for _, p := range it.parts {
		for i := p.from; i < p.to; i++ {
			r := BasisReading{Value: p.value[i], Unit: p.scale, Shown: p.at[i], Void: p.void[i], Path: limit.Path{At: p.at[i]}}
			if i < len(p.ahead) {
				r.Shown += p.ahead[i]
			}
			out = append(out, r)
		}
	}
	slices.SortStableFunc(out, func(a, b BasisReading) int { return cmp.Compare(a.At, b.At) })
	return out
}
