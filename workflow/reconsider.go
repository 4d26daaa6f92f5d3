package workflow

import (
	"context"
	"fmt"
	"slices"

	"lastgood/workflow/instrument"
	"lastgood/workflow/pg"
)

// reconsiderOwn looks again at instruments of which something new is known: what
// they show themselves opens and widens deviations at once. Checks that only fall
// because a reference does are left to its cascade.
func reconsiderOwn(ctx context.Context, tx *pg.Tx, codes []string, was standing, p sitePolicy) ([]Deviation, error) {
	known, err := instrument.Known(ctx, tx)
	if err != nil {
		return nil, err
	}
	pends, err := pendingChecks(ctx, tx)
	if err != nil {
		return nil, err
	}
	var opened []Deviation
	for _, code := range codes {
		d, err := reconsider(ctx, tx, known[code], &leaving{was.distrusted, pends}, p)
		if err != nil {
			return nil, err
		}
		opened = append(opened, d...)
	}
	return opened, nil
}

// letFall looks again at everything that was checked against a reference whose
// suspect windows moved: checks may have lost or regained their worth. It goes
// down to any depth, and returns the instruments in the order in which it came to
// them. A window that reaches further back never makes another reach less far, so
// the rounds have an end even where instruments were checked against each other;
// no chain is longer than there are instruments.
func letFall(ctx context.Context, tx *pg.Tx, reference string, p sitePolicy) (order []node, opened []Deviation, err error) {
	known, err := instrument.Known(ctx, tx)
	if err != nil {
		return nil, nil, err
	}
	below, err := checkedAgainst(ctx, tx, known[reference])
	if err != nil {
		return nil, nil, err
	}
	visits := map[string]int{}
	for len(below) > 0 {
		at := below[0]
		below = below[1:]
		if visits[at.Code]++; visits[at.Code] > len(known) {
			continue
		}
		if visits[at.Code] == 1 {
			order = append(order, at)
		}
		before, err := windowsOf(ctx, tx, at.ID)
		if err != nil {
			return nil, nil, err
		}
		d, err := reconsider(ctx, tx, at.Stored, nil, p)
		if err != nil {
			return nil, nil, err
		}
		opened = append(opened, d...)
		if err := touchSeconds(ctx, tx, []string{at.Code}); err != nil { // what it vouched for rests on other checks now
			return nil, nil, err
		}
		after, err := windowsOf(ctx, tx, at.ID)
		if err != nil {
			return nil, nil, err
		}
		if slices.Equal(before, after) {
			continue
		}
		more, err := checkedAgainst(ctx, tx, at.Stored)
		if err != nil {
			return nil, nil, err
		}
		below = append(below, more...)
	}
	return order, opened, nil
}

// asTheyStand reads deviations again, after everything.
func asTheyStand(ctx context.Context, tx *pg.Tx, list []Deviation) (err error) {
	for i := range list {
		if list[i], err = getDeviation(ctx, tx, list[i].ID, ""); err != nil {
			return err
		}
	}
	return nil
}

func windowsOf(ctx context.Context, tx *pg.Tx, id instrument.ID) ([]string, error) {
	var spans []string
	const q = `select deviation_id || ' ' || span from deviation_window where plant_id = $1 and instrument_id = $2 order by 1`
	return spans, tx.SelectContext(ctx, &spans, q, tx.Plant, id)
}

// checkedAgainst returns the instruments of which a check was made against the
// given one.
func checkedAgainst(ctx context.Context, tx *pg.Tx, in instrument.Stored) ([]node, error) {
	var ids []instrument.ID
	const q = `select c.instrument_id from check_point p join accuracy_check c using (plant_id, check_id)
		join instrument i using (plant_id, instrument_id)
		where p.plant_id = $1 and p.reference_id = $2 group by c.instrument_id, i.code order by i.code`
	if err := tx.SelectContext(ctx, &ids, q, tx.Plant, in.ID); err != nil {
		return nil, fmt.Errorf("checked against %s: %w", in.Code, err)
	}
	list := make([]node, len(ids))
	for n, id := range ids {
		below, err := instrument.Get(ctx, tx, id)
		if err != nil {
			return nil, err
		}
		list[n] = node{below, in.Code}
	}
	return list, nil
}

// reconsider looks at the whole history of an instrument: opens the deviations
// that it lacks, and brings the containment of all of them up to date. A check
// that is left to a cascade opens nothing because its reference fell: the cascade
// will. How far the windows reach is never told more kindly than it is known.
func reconsider(ctx context.Context, tx *pg.Tx, in instrument.Stored, leave *leaving, p sitePolicy) ([]Deviation, error) {
	h, err := instrument.LoadHistory(ctx, tx, in)
	if err != nil {
		return nil, err
	}
	have, err := deviationsOf(ctx, tx, in.ID)
	if err != nil {
		return nil, err
	}
	var opened []Deviation
	for _, o := range openings(leave.from(h)) {
		i := slices.IndexFunc(have, func(d Deviation) bool { return d.isOf(o) })
		if i < 0 {
			d, err := insertDeviation(ctx, tx, in, o, p.version)
			if err != nil {
				return nil, err
			}
			have, opened, i = append(have, d), append(opened, d), len(have)
		}
		doubt, err := doubtOf(in, h, o, p)
		if err != nil {
			return nil, fmt.Errorf("error model of %s: %w", in.Code, err)
		}
		if err := contain(ctx, tx, &have[i], doubt, p); err != nil {
			return nil, err
		}
	}
	if len(have) > len(opened) {
		return opened, touchInstruments(ctx, tx, []string{in.Code})
	}
	return opened, nil
}

// leaving is which checks are left to a cascade.
type leaving struct {
	distrusted distrusted     // before the command: no cascade is needed for them any more
	pends      map[int64]bool // that fall with a cascade that nobody confirmed yet
}

// from returns a history in which the checks that are left to a cascade are worth
// what they were.
func (l *leaving) from(h instrument.History) instrument.History {
	if l == nil {
		return h
	}
	h.Checks = slices.Clone(h.Checks)
	for i := range h.Checks {
		c := &h.Checks[i]
		if _, fell := l.distrusted[c.ID]; !fell || l.pends[c.ID] {
			c.Untrusted = ""
		}
		if c.FoundThen != "" && l.pends[c.ID] {
			c.Found, c.Left = c.FoundThen, c.LeftThen
		}
	}
	return h
}
