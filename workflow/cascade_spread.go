package workflow

import (
	"context"
	"fmt"
	"maps"
	"slices"
	"time"

	"github.com/lib/pq"

	"lastgood/workflow/hold"
	"lastgood/workflow/instrument"
	"lastgood/workflow/pg"
	"lastgood/workflow/trail"
)

// distrusted is the checks that are not trusted, by number.
type distrusted map[int64]distrustedCheck

type distrustedCheck struct {
	instrument instrument.ID
	at         time.Time
	references []string // because of which
}

// distrustedNow returns the checks of the plant that are not trusted: a
// reference was in doubt when they were made, or its certificate turned out not
// to hold.
func distrustedNow(ctx context.Context, tx *pg.Tx) (distrusted, error) {
	const q = `
with fell as (
  select p.check_id, p.reference_id from check_point p join accuracy_check c using (plant_id, check_id)
  join deviation_window w on w.plant_id = p.plant_id and w.instrument_id = p.reference_id and w.span @> c.performed_at
  where p.plant_id = $1
  union
  select p.check_id, p.reference_id from check_point p cross join lateral (select distrusted from check_rejudged j
    where j.plant_id = p.plant_id and j.check_id = p.check_id order by j.rejudged_id desc limit 1) j
  where p.plant_id = $1 and p.reference_id is not null and j.distrusted <> '')
select c.check_id, c.instrument_id, c.performed_at, array_agg(r.code order by r.code) as codes
from fell join accuracy_check c on c.plant_id = $1 and c.check_id = fell.check_id
join instrument r on r.plant_id = $1 and r.instrument_id = fell.reference_id group by 1, 2, 3`
	var rows []struct {
		ID         int64          `db:"check_id"`
		Instrument instrument.ID  `db:"instrument_id"`
		At         time.Time      `db:"performed_at"`
		Codes      pq.StringArray `db:"codes"`
	}
	if err := tx.SelectContext(ctx, &rows, q, tx.Plant); err != nil {
		return nil, fmt.Errorf("distrusted checks: %w", err)
	}
	m := distrusted{}
	for _, r := range rows {
		m[r.ID] = distrustedCheck{r.Instrument, r.At.UTC(), r.Codes}
	}
	return m, nil
}

// change is what becomes of a check.
type change struct {
	distrustedCheck
	falls bool // else it regains its worth
	why   string
}

// changes returns what becomes of the checks of some instruments, by number:
// some are distrusted now and were not, some were and are not.
func (now distrusted) changes(before distrusted, of []node, reasons map[int64]string) map[int64]change {
	m := map[int64]change{}
	in := map[instrument.ID]bool{}
	for _, p := range of {
		in[p.ID] = true
	}
	for id, c := range now {
		if _, was := before[id]; !was && in[c.instrument] {
			m[id] = change{c, true, reasons[id]}
		}
	}
	for id, c := range before {
		if _, is := now[id]; !is && in[c.instrument] {
			m[id] = change{c, false, "its reference is no longer in doubt for that time"}
		}
	}
	return m
}

// standing is how a plant stands before a command changes anything that a
// cascade could come of.
type standing struct {
	distrusted distrusted
	windows    map[instrument.ID]string
}

func standingNow(ctx context.Context, tx *pg.Tx) (s standing, err error) {
	if s.distrusted, err = distrustedNow(ctx, tx); err != nil {
		return s, err
	}
	var rows []struct {
		Instrument instrument.ID `db:"instrument_id"`
		Windows    string        `db:"windows"`
	}
	const q = `select instrument_id, string_agg(deviation_id || ' ' || span, ' ' order by deviation_id) as windows
		from deviation_window where plant_id = $1 group by 1`
	if err := tx.SelectContext(ctx, &rows, q, tx.Plant); err != nil {
		return s, fmt.Errorf("windows: %w", err)
	}
	s.windows = map[instrument.ID]string{}
	for _, r := range rows {
		s.windows[r.Instrument] = r.Windows
	}
	return s, nil
}

// pendingChecks returns the checks that fall when a pending cascade is
// confirmed.
func pendingChecks(ctx context.Context, tx *pg.Tx) (map[int64]bool, error) {
	var ids []int64
	const q = `select check_id from cascade_check join cascade using (plant_id, cascade_id)
		where plant_id = $1 and state = 'pending' and falls`
	if err := tx.SelectContext(ctx, &ids, q, tx.Plant); err != nil {
		return nil, fmt.Errorf("pending checks: %w", err)
	}
	m := map[int64]bool{}
	for _, id := range ids {
		m[id] = true
	}
	return m, nil
}

// spread looks what a command takes with it: a cascade for every reference whose
// suspect windows it moved, or that it names, as far as there is anything below;
// and it looks again at the cascades that pend. The caller owns the plant. It
// returns the cascades that pend because of the command.
func (was standing) spread(ctx context.Context, tx *pg.Tx, named []string, p sitePolicy) ([]Cascade, error) {
	now, err := standingNow(ctx, tx)
	if err != nil {
		return nil, err
	}
	pending, err := pendingCascades(ctx, tx)
	if err != nil || len(pending)+len(named) == 0 && maps.Equal(was.windows, now.windows) {
		return nil, err
	}
	known, err := instrument.Known(ctx, tx)
	if err != nil {
		return nil, err
	}
	used, err := idSet(ctx, tx, `select distinct reference_id from check_point where plant_id = $1 and reference_id is not null`)
	if err != nil {
		return nil, err
	}
	moved := map[string]instrument.ID{}
	for code, in := range known {
		if used[in.ID] && (was.windows[in.ID] != now.windows[in.ID] || slices.Contains(named, code)) {
			moved[code] = in.ID
		}
	}
	for _, code := range slices.Sorted(maps.Keys(moved)) {
		i := slices.IndexFunc(pending, func(c Cascade) bool { return c.Reference == code })
		if i < 0 {
			pending, i = append(pending, Cascade{Reference: code, Instrument: moved[code], Version: 1}), len(pending)
		}
		if c := &pending[i]; !slices.Contains(c.Actors, tx.By.ID) {
			c.Actors = append(c.Actors, tx.By.ID)
		}
	}
	var list []Cascade
	for i := range pending {
		c := &pending[i]
		if err := c.look(ctx, tx, was.distrusted, p); err != nil {
			return nil, err
		}
		if _, ours := moved[c.Reference]; ours && c.State == CascadePending {
			list = append(list, *c)
		}
	}
	return list, nil
}

// look looks at a cascade anew, stores what it sees, and holds what it would put
// in doubt. One of which nothing is left to be done is overtaken.
func (c *Cascade) look(ctx context.Context, tx *pg.Tx, before distrusted, p sitePolicy) error {
	before, err := c.before(ctx, tx, before)
	if err != nil {
		return err
	}
	o, err := foresee(ctx, tx, c.Reference, before, p)
	if err != nil {
		return err
	}
	if o.idle() {
		if len(o.checks) > 0 { // nothing to see, but what is traced rests on other checks now
			if _, _, err := letFall(ctx, tx, c.Reference, p); err != nil {
				return err
			}
		}
		return c.overtake(ctx, tx)
	}
	if err := c.put(ctx, tx, o.Foreseen); err != nil {
		return err
	}
	if err := c.putReach(ctx, tx, o); err != nil {
		return err
	}
	n, err := hold.PlaceAhead(ctx, tx, int64(c.ID), o.holds)
	if err != nil || n == 0 {
		return err
	}
	return trail.Append(ctx, tx, trail.Entry{Stream: c.stream(), Action: "hold.placed", Subject: c.Reference, Version: c.Version,
		After: map[string]any{"placed": n, "lots_in_doubt": o.Lots}})
}

// before returns the checks that were distrusted before the cascade began.
func (c *Cascade) before(ctx context.Context, tx *pg.Tx, now distrusted) (distrusted, error) {
	if c.ID == 0 {
		return now, nil
	}
	tree, err := c.Tree()
	if err != nil {
		return nil, err
	}
	known, err := instrument.Known(ctx, tx)
	if err != nil {
		return nil, err
	}
	m := maps.Clone(now)
	var each func([]ForeseenInstrument)
	each = func(list []ForeseenInstrument) {
		for _, in := range list {
			for _, f := range in.Checks {
				if delete(m, f.ID); f.Change == changeRegains {
					m[f.ID] = distrustedCheck{known[in.Instrument].ID, f.PerformedAt, f.Against}
				}
			}
			each(in.Below)
		}
	}
	each(tree.Below)
	return m, nil
}

func (c *Cascade) overtake(ctx context.Context, tx *pg.Tx) error {
	c.State = CascadeOvertaken
	if c.ID == 0 {
		return nil
	}
	const q = `update cascade set state = 'overtaken', refresh_due = null, version = version + 1 where plant_id = $1 and cascade_id = $2`
	if _, err := tx.ExecContext(ctx, q, tx.Plant, c.ID); err != nil {
		return fmt.Errorf("cascade %d: %w", c.ID, err)
	}
	c.Version++
	return trail.Append(ctx, tx, trail.Entry{Stream: c.stream(), Action: "cascade.overtaken", Subject: c.Reference, Version: c.Version})
}
