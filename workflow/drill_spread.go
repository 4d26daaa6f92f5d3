package workflow

import (
	"context"
	"slices"

	"lastgood/workflow/instrument"
	"lastgood/workflow/pg"
)

// supposedCase is a case that would be open under the supposition.
type supposedCase struct {
	o            opening
	history      instrument.History
	after, until int64
}

// same: the same check, event or overdue check, with the same window.
func (c supposedCase) same(b supposedCase) bool {
	return c.key() == b.key() && c.after == b.after && c.until == b.until
}

// key names what opened the case; the supposed check has number 0.
func (c supposedCase) key() [2]int64 {
	switch {
	case c.o.check != nil:
		return [2]int64{0, c.o.check.ID}
	case c.o.event != nil:
		return [2]int64{1, c.o.event.ID}
	}
	return [2]int64{2, c.o.overdue.ID}
}

// spread finds the cases of the supposition: the instrument's own, and those of
// everything that was checked against it while it is supposed to have been in
// doubt, to any depth, as a cascade would open and widen them.
func (d *drill) spread(ctx context.Context, tx *pg.Tx) error {
	standing := map[instrument.ID][]supposedCase{} // as they stand without the supposition
	visits := map[instrument.ID]int{}
	queue := []instrument.Stored{d.subject}
	for len(queue) > 0 {
		in := queue[0]
		queue = queue[1:]
		if visits[in.ID]++; visits[in.ID] > len(d.known) {
			continue
		}
		if visits[in.ID] == 1 {
			d.order = append(d.order, in)
			h, err := instrument.LoadHistory(ctx, tx, in)
			if err != nil {
				return err
			}
			if standing[in.ID], err = d.casesOf(ctx, tx, in, h, openings(h)); err != nil {
				return err
			}
		}
		cases, err := d.supposedCases(ctx, tx, in)
		if err != nil {
			return err
		}
		fresh := without(cases, standing[in.ID])
		changed := without(fresh, d.cases[in.ID])
		d.cases[in.ID] = fresh
		below, err := d.fell(ctx, tx, in, changed)
		if err != nil {
			return err
		}
		queue = append(queue, below...)
	}
	return nil
}

// without returns the cases that are not in a list as they are.
func without(cases, list []supposedCase) []supposedCase {
	return slices.DeleteFunc(slices.Clone(cases), func(c supposedCase) bool { return slices.ContainsFunc(list, c.same) })
}

// supposedCases returns the cases of an instrument under the supposition.
func (d *drill) supposedCases(ctx context.Context, tx *pg.Tx, in instrument.Stored) ([]supposedCase, error) {
	h, err := instrument.LoadHistory(ctx, tx, in)
	if err != nil {
		return nil, err
	}
	for i := range h.Checks {
		if c := &h.Checks[i]; c.Untrusted == "" && d.fallen[c.ID] != "" {
			c.Distrust(d.fallen[c.ID])
		}
	}
	if in.ID != d.subject.ID {
		return d.casesOf(ctx, tx, in, h, openings(h))
	}
	h.Checks = d.amongst(h.Checks)
	all := openings(h)
	if !slices.ContainsFunc(all, isSupposed) {
		all = append(all, opening{check: d.check, until: notYet}) // it would join another case: still, this one is asked about
	}
	slices.SortStableFunc(all, func(a, b opening) int { return lateness(a) - lateness(b) })
	return d.casesOf(ctx, tx, in, h, all)
}

// isSupposed says whether the supposed check opens: it has no number.
func isSupposed(o opening) bool { return o.check != nil && o.check.ID == 0 }

// lateness puts the supposed case before the others of its instrument.
func lateness(o opening) int {
	if isSupposed(o) {
		return 0
	}
	return 1
}

// amongst puts the supposed check among the others, in place of one of the same
// moment.
func (d *drill) amongst(checks []instrument.Recorded) []instrument.Recorded {
	checks = slices.DeleteFunc(checks, func(c instrument.Recorded) bool { return c.At == d.check.At })
	i := slices.IndexFunc(checks, func(c instrument.Recorded) bool { return c.At > d.check.At })
	if i < 0 {
		i = len(checks)
	}
	return slices.Insert(checks, i, *d.check)
}

func (d *drill) casesOf(ctx context.Context, tx *pg.Tx, in instrument.Stored, h instrument.History, list []opening) ([]supposedCase, error) {
	served, err := servedLimits(ctx, tx, in.ID, d.policy)
	if err != nil {
		return nil, err
	}
	var out []supposedCase
	for _, o := range list {
		doubt, err := doubtOf(in, h, o, d.policy)
		if err != nil {
			return nil, err
		}
		c := supposedCase{o: o, history: h}
		c.after, c.until, _ = widest(doubt, served)
		out = append(out, c)
	}
	return out, nil
}

// fell notes the checks that were made with an instrument while it would be in
// doubt, and returns the instruments that they are of.
func (d *drill) fell(ctx context.Context, tx *pg.Tx, in instrument.Stored, cases []supposedCase) ([]instrument.Stored, error) {
	const q = `select distinct c.check_id, i.code from check_point p join accuracy_check c using (plant_id, check_id)
		join instrument i on i.plant_id = c.plant_id and i.instrument_id = c.instrument_id
		where p.plant_id = $1 and p.reference_id = $2 and c.performed_at > coalesce($3, '-infinity'::timestamptz)
		and c.performed_at <= coalesce($4, 'infinity'::timestamptz) order by i.code, c.check_id`
	var out []instrument.Stored
	for _, c := range cases {
		var rows []struct {
			Check int64  `db:"check_id"`
			Code  string `db:"code"`
		}
		if err := tx.SelectContext(ctx, &rows, q, tx.Plant, in.ID, moment(c.after), moment(c.until)); err != nil {
			return nil, err
		}
		for _, r := range rows {
			if d.fallen[r.Check] != "" {
				continue
			}
			d.fallen[r.Check] = in.Code
			below := d.known[r.Code]
			if !slices.ContainsFunc(out, func(o instrument.Stored) bool { return o.ID == below.ID }) {
				out = append(out, below)
			}
		}
	}
	return out, nil
}
