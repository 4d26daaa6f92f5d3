package workflow

import (
	"context"
	"fmt"
	"iter"
	"time"

	"lastgood/workflow/instrument"
	"lastgood/workflow/pg"
	"lastgood/workflow/reading"
)

// loadClock reads how the instrument's clock was wrong.
func (e *evidence) loadClock(ctx context.Context, tx *pg.Tx) error {
	c, err := instrument.LoadClock(ctx, tx, e.in.ID)
	if err != nil || len(c) == 0 {
		return err
	}
	e.clock = clock(c)
	return e.digest.add(c)
}

// heard is a reading, and why it is not believed; empty: it is.
type heard struct {
	reading.Taken
	void string
}

// hear returns what an instrument read, and among it, in order of true time, the
// quarantined readings that nobody made readings of. These it digests.
func (e *evidence) hear(ctx context.Context, tx *pg.Tx, id instrument.ID, c clock, since, upto time.Time) (iter.Seq2[heard, error], error) {
	gaps, err := reading.Gaps(ctx, tx, id, since, upto)
	if err != nil {
		return nil, err
	}
	if len(gaps) > 0 {
		if err := e.digest.add(gaps); err != nil {
			return nil, err
		}
	}
	return among(c.straightened(reading.Stream(ctx, tx, id, since, upto)), c.gaps(gaps)), nil
}

func among(list iter.Seq2[reading.Taken, error], gaps []reading.Gap) iter.Seq2[heard, error] {
	return func(yield func(heard, error) bool) {
		for r, err := range list {
			for err == nil && len(gaps) > 0 && gaps[0].At <= r.At {
				if !yield(heard{gaps[0].Taken, gaps[0].Why()}, nil) {
					return
				}
				gaps = gaps[1:]
			}
			if !yield(heard{r, ""}, err) {
				return
			}
		}
		for _, g := range gaps {
			if !yield(heard{g.Taken, g.Why()}, nil) {
				return
			}
		}
	}
}

// fileHeard files a reading, wherever it may belong.
func (e *evidence) fileHeard(r heard) {
	e.file(r.Taken)
	var also []*stretch
	if len(e.clock) > 0 {
		also = e.fileElsewhere(r.Taken)
	}
	if r.void == "" {
		return
	}
	if e.to != nil {
		e.to.disbelieve(r.void)
	}
	for _, s := range also {
		s.disbelieve(r.void)
	}
}

// disbelieve marks the last reading as one that is not believed.
func (s *stretch) disbelieve(why string) {
	if s.void == nil {
		s.void = map[int]string{}
	}
	s.void[len(s.at)-1] = why
}

// fileElsewhere files a reading that names no lot and no place also where the
// instrument hung soon before or after, if its clock leaves open which it was.
func (e *evidence) fileElsewhere(r reading.Taken) (also []*stretch) {
	b, c := e.clock.bound(r.At, r.At), e.contexts[r.Context]
	if b == 0 || r.Lot != 0 || c.LocationID != 0 {
		return nil
	}
	filed := map[int32]bool{e.hungAt(r.At): true}
	for _, m := range e.mounted {
		if filed[m.location] || r.At+b < m.from || r.At-b > m.to {
			continue
		}
		filed[m.location] = true
		s := e.stretchFor(group{location: m.location, limit: c.LimitName, scale: c.Scale()})
		s.add(r)
		also = append(also, s)
	}
	return also
}

// disbelieved says in a sentence which readings of an item are in quarantine.
func (it item) disbelieved() []string {
	n, first, why := 0, int64(0), ""
	for _, p := range it.parts {
		for i := p.from; i < p.to && p.void != nil; i++ {
			if p.void[i] == "" {
				continue
			}
			if n++; n == 1 || p.at[i] < first {
				first, why = p.at[i], p.void[i]
			}
		}
	}
	if n == 0 {
		return nil
	}
	return []string{fmt.Sprintf("%d in quarantine, where nothing is known until somebody accepts them, the first at %s: %s",
		n, time.UnixMicro(first).UTC().Format(time.RFC3339), why)}
}
