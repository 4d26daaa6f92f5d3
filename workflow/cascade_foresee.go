package workflow

import (
	"context"
	"fmt"
	"slices"
	"time"

	"github.com/lib/pq"

	"lastgood/policy/metrology"
	"lastgood/workflow/hold"
	"lastgood/workflow/instrument"
	"lastgood/workflow/lot"
	"lastgood/workflow/pg"
)

// outlook is what a cascade would do: the tree, and what it rests on.
type outlook struct {
	Foreseen
	checks  map[int64]change // that fall or regain their worth
	windows []inDoubt        // of every deviation of every instrument of the tree
	holds   []hold.Order     // that it would place
}

// idle: nothing would change that anyone has to see.
func (o outlook) idle() bool { return o.Windows == 0 }

// inDoubt is a deviation as it would stand.
type inDoubt struct {
	Deviation
	After *time.Time `db:"after"`
	Until *time.Time `db:"until"`
	words string
	lots  []lotInDoubt
}

// lotInDoubt is a lot of a deviation.
type lotInDoubt struct {
	Deviation DeviationID `db:"deviation_id"`
	Lot       lot.ID      `db:"lot_id"`
	Code      string      `db:"code"`
	Because   lot.ID      `db:"because_of_lot_id"`
	BecauseOf string      `db:"because_of"`
}

// foresee lets a reference's tree fall, looks, and takes it back. before is which
// checks were distrusted before anything of it was known.
func foresee(ctx context.Context, tx *pg.Tx, reference string, before distrusted, p sitePolicy) (o outlook, err error) {
	var order []node
	var after distrusted
	reasons := map[int64]string{}
	err = tx.Supposing(ctx, func() (err error) {
		if order, _, err = letFall(ctx, tx, reference, p); err != nil {
			return err
		}
		if after, err = distrustedNow(ctx, tx); err != nil {
			return err
		}
		for _, at := range order {
			list, err := standingOf(ctx, tx, at.Stored, reasons)
			if err != nil {
				return err
			}
			o.windows = append(o.windows, list...)
		}
		return nil
	})
	if err != nil {
		return o, fmt.Errorf("cascade of %s: %w", reference, err)
	}
	o.checks = after.changes(before, order, reasons)
	if err := o.rejudged(ctx, tx, order); err != nil {
		return o, err
	}
	return o, o.grow(ctx, tx, reference, order)
}

// standingOf reads the deviations of an instrument with windows, lots, and what
// opened each; and why its checks are distrusted.
func standingOf(ctx context.Context, tx *pg.Tx, in instrument.Stored, reasons map[int64]string) ([]inDoubt, error) {
	list, err := windowsWithLots(ctx, tx, in.ID)
	if err != nil {
		return nil, err
	}
	h, err := instrument.LoadHistory(ctx, tx, in)
	if err != nil {
		return nil, err
	}
	for _, c := range h.Checks {
		if c.Untrusted != "" {
			reasons[c.ID] = c.Untrusted
		}
	}
	for i := range list {
		if o, ok := openingOf(h, list[i].Deviation); ok {
			list[i].words = o.words()
		}
	}
	return list, nil
}

func openingOf(h instrument.History, d Deviation) (opening, bool) {
	for _, o := range openings(h) {
		if d.isOf(o) {
			return o, true
		}
	}
	return openedBy(h, d)
}

func windowsWithLots(ctx context.Context, tx *pg.Tx, id instrument.ID) ([]inDoubt, error) {
	var list []inDoubt
	const q = `select d.deviation_id, d.instrument_id, d.check_id, d.event_id, d.overdue_id, d.state, d.failed_at, d.opened_at, d.retrace_due,
		d.evidence_count, d.evaluator, d.policy_version, d.version, lower(w.span) as after, upper(w.span) as until
		from deviation d join deviation_window w using (plant_id, deviation_id)
		where d.plant_id = $1 and d.instrument_id = $2 order by d.failed_at, d.deviation_id`
	if err := tx.SelectContext(ctx, &list, q, tx.Plant, id); err != nil {
		return nil, err
	}
	var lots []lotInDoubt
	const doubted = `select l.deviation_id, l.lot_id, a.code, l.because_of_lot_id, b.code as because_of
		from deviation_lot l join deviation d using (plant_id, deviation_id) join lot a using (plant_id, lot_id)
		join lot b on b.plant_id = l.plant_id and b.lot_id = l.because_of_lot_id
		where l.plant_id = $1 and d.instrument_id = $2 order by a.code`
	if err := tx.SelectContext(ctx, &lots, doubted, tx.Plant, id); err != nil {
		return nil, err
	}
	for i := range list {
		for _, l := range lots {
			if l.Deviation == list[i].ID {
				list[i].lots = append(list[i].lots, l)
			}
		}
	}
	return list, nil
}

// grow compares what would be with what is, and makes the tree of the
// differences.
func (o *outlook) grow(ctx context.Context, tx *pg.Tx, reference string, order []node) error {
	stock, err := o.stock(ctx, tx)
	if err != nil {
		return err
	}
	changed := map[string]ForeseenInstrument{}
	for _, at := range order {
		n := ForeseenInstrument{Instrument: at.Code, Checks: o.fallen(at), Windows: []ForeseenWindow{}}
		now, err := windowsWithLots(ctx, tx, at.ID)
		if err != nil {
			return err
		}
		for _, d := range o.windows {
			if d.Instrument != at.ID {
				continue
			}
			if w := d.since(now, stock, o); w.Becomes != "" {
				n.Windows = append(n.Windows, w)
			}
		}
		if len(n.Checks)+len(n.Windows) > 0 {
			changed[at.Code] = n
		}
	}
	o.Foreseen = tree(reference, order, changed)
	return nil
}

// rejudged adds the checks of which a late certificate changed the verdict.
func (o *outlook) rejudged(ctx context.Context, tx *pg.Tx, order []node) error {
	ids := make([]instrument.ID, len(order))
	for i, at := range order {
		ids[i] = at.ID
	}
	news, err := instrument.RejudgedNews(ctx, tx, ids)
	if err != nil {
		return err
	}
	for _, n := range news {
		if _, told := o.checks[n.Check]; told {
			continue
		}
		o.checks[n.Check] = change{distrustedCheck{n.Instrument, n.At.UTC(), n.Against}, n.NowFound != pass || n.NowLeft != pass,
			fmt.Sprintf("a certificate became known late: found %s and left %s then, %s and %s by it", n.Found, n.Left, n.NowFound, n.NowLeft)}
	}
	return nil
}

const pass = string(metrology.Pass)

// fallen lists the checks of an instrument that lose or regain their worth.
func (o *outlook) fallen(at node) []ForeseenCheck {
	list := []ForeseenCheck{}
	for id, c := range o.checks {
		if c.instrument != at.ID {
			continue
		}
		f := ForeseenCheck{ID: id, PerformedAt: c.at, Against: c.references, Change: changeRegains, Why: c.why}
		if c.falls {
			f.Change = changeFalls
		}
		list = append(list, f)
	}
	slices.SortFunc(list, func(a, b ForeseenCheck) int { return a.PerformedAt.Compare(b.PerformedAt) })
	return list
}

// since says what is new of a deviation, and orders the holds.
func (d inDoubt) since(now []inDoubt, stock stock, o *outlook) ForeseenWindow {
	w := ForeseenWindow{FailedAt: d.FailedAt.UTC(), OpenedBy: d.words, After: span(d.After, d.Until), Lots: []ForeseenLot{}}
	had := map[lot.ID]bool{}
	for _, was := range now {
		if was.ID != d.ID {
			continue
		}
		before := span(was.After, was.Until)
		w.Deviation, w.Before, w.Reopens = &was.ID, &before, was.State == Evaluating
		for _, l := range was.lots {
			had[l.Lot] = true
		}
	}
	for _, l := range d.lots {
		if had[l.Lot] {
			continue
		}
		at := stock.where[l.Lot]
		f := ForeseenLot{Lot: l.Code, BecauseOf: l.BecauseOf, InControl: at.InControl, Quantity: at.Quantity, Unit: at.Unit}
		if at.LocationID != nil {
			code := stock.places[*at.LocationID]
			f.Location = &code
		}
		if w.Lots = append(w.Lots, f); at.InControl {
			o.order(hold.Order{Portion: at.Portion, BecauseOf: l.Because, Quantity: at.Quantity, Unit: at.Unit, Location: at.LocationID})
		}
	}
	w.Becomes = w.After.becomes(w.Before, len(w.Lots))
	return w
}

// order notes a hold, one for a portion.
func (o *outlook) order(h hold.Order) {
	if !slices.ContainsFunc(o.holds, func(have hold.Order) bool { return have.Portion == h.Portion }) {
		o.holds = append(o.holds, h)
	}
}

func span(after, until *time.Time) ForeseenSpan { return ForeseenSpan{utc(after), utc(until)} }

func utc(t *time.Time) *time.Time {
	if t == nil {
		return nil
	}
	u := t.UTC()
	return &u
}

// stock is where lots are.
type stock struct {
	where  map[lot.ID]lot.Position
	places map[int32]string
}

func (o *outlook) stock(ctx context.Context, tx *pg.Tx) (s stock, err error) {
	var ids []lot.ID
	for _, d := range o.windows {
		for _, l := range d.lots {
			ids = append(ids, l.Lot)
		}
	}
	if s.where, err = lot.Positions(ctx, tx, ids); err != nil {
		return s, err
	}
	var at []int32
	for _, p := range s.where {
		if p.LocationID != nil {
			at = append(at, *p.LocationID)
		}
	}
	var rows []struct {
		ID   int32  `db:"location_id"`
		Code string `db:"code"`
	}
	const q = `select location_id, code from location where plant_id = $1 and location_id = any($2)`
	if err := tx.SelectContext(ctx, &rows, q, tx.Plant, pq.Array(at)); err != nil {
		return s, fmt.Errorf("locations: %w", err)
	}
	s.places = map[int32]string{}
	for _, r := range rows {
		s.places[r.ID] = r.Code
	}
	return s, nil
}
