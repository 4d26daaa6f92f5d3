package workflow

import (
	"context"
	"fmt"
	"slices"
	"time"

	"lastgood/policy/metrology"
	"lastgood/workflow/actor"
	"lastgood/workflow/correct"
	"lastgood/workflow/instrument"
	"lastgood/workflow/pg"
)

// The states of an instrument that failed.
const (
	InstrumentInUse     State = "in_use"
	InstrumentSuspended State = "suspended" // next: whoever checks and mends instruments
	InstrumentChecked   State = "checked"
	InstrumentAdjusted  State = "adjusted"
	InstrumentRepaired  State = "repaired"
	InstrumentReturned  State = "returned_to_use"
	InstrumentRetired   State = "retired" // its code is never used again
	InstrumentLost      State = "lost"
)

// instrumentFacts is what the guards of an instrument look at.
type instrumentFacts struct {
	GoodEverywhere bool // as left, at every point that its limits need, since the failure, and so that no window opens again
	Trusted        bool // the reference of the check that it rests on
	Signed         bool // by the technician and QA
}

var instrumentTrack = Track[instrumentFacts]{
	Name: "instrument",
	States: []State{InstrumentInUse, InstrumentSuspended, InstrumentChecked, InstrumentAdjusted, InstrumentRepaired, InstrumentReturned,
		InstrumentRetired, InstrumentLost},
	Steps: []Step[instrumentFacts]{
		{"9 CFR 417.3(a)(1): taken out of use", from(InstrumentInUse, InstrumentReturned), "fail", InstrumentSuspended, byItself, nil},
		{"design notes on the procedure, T33: as found first", from(InstrumentSuspended, InstrumentAdjusted, InstrumentRepaired), "check", InstrumentChecked, byItself, nil},
		{"21 CFR 117.165(a)(1): calibrated", from(InstrumentSuspended, InstrumentChecked, InstrumentRepaired), "adjust", InstrumentAdjusted, byItself, nil},
		{"design notes on the procedure, T33: repaired", from(InstrumentSuspended, InstrumentChecked, InstrumentAdjusted), "repair", InstrumentRepaired, byItself, nil},
		{"design notes on the procedure, T33: as-left pass at all points in use", from(InstrumentChecked), "return", InstrumentReturned, aPerson,
			needs(goodEverywhere, referenceTrusted, returnSigned)},
		{"design notes on the procedure, T34: not repairable", from(InstrumentInUse, InstrumentSuspended, InstrumentChecked, InstrumentAdjusted, InstrumentRepaired, InstrumentReturned),
			"retire", InstrumentRetired, aPerson, nil},
		{"design notes on the procedure, X09: lost", from(InstrumentSuspended, InstrumentChecked, InstrumentAdjusted, InstrumentRepaired), "lose", InstrumentLost, aPerson, nil},
	},
}

var (
	goodEverywhere   = Guard[instrumentFacts]{"an as-left pass at every point that its limits need, after the failure", func(f instrumentFacts) bool { return f.GoodEverywhere }}
	referenceTrusted = Guard[instrumentFacts]{"a check by a reference that is trusted", func(f instrumentFacts) bool { return f.Trusted }}
	returnSigned     = Guard[instrumentFacts]{"the return signed by the technician and QA", func(f instrumentFacts) bool { return f.Signed }}
)

// InstrumentStanding is where an instrument stands since it last failed.
type InstrumentStanding struct {
	Instrument string
	State      State
	FailedAt   *time.Time // nil: it never failed
	Check      *int64     // the last one since then; nil: none
	Open       []string   // at what points one check has still to pass, as left
	Untrusted  string     // why the last check is worth nothing; empty: it is
	Allowed    []Event
	id         instrument.ID
	deviation  DeviationID // the last that it opened
}

// InstrumentStanding returns where an instrument stands. fault.NotFound: there is
// none.
func (s *Service) InstrumentStanding(ctx context.Context, sc pg.Scope, code string) (InstrumentStanding, error) {
	return ask(ctx, s, sc, func(tx *pg.Tx) (InstrumentStanding, error) { return instrumentAt(ctx, tx, code, false) })
}

// instrumentAt follows the instrument's history since its last failure.
func instrumentAt(ctx context.Context, tx *pg.Tx, code string, lock bool) (st InstrumentStanding, err error) {
	in, err := instrument.ByCode(ctx, tx, code)
	if err != nil {
		return st, err
	}
	st = InstrumentStanding{Instrument: code, State: InstrumentInUse, Open: []string{}, id: in.ID}
	state, err := correct.StateOf(ctx, tx, in.ID, lock)
	if err != nil {
		return st, err
	}
	var last []Deviation
	const q = `select ` + deviationColumns + ` from deviation where plant_id = $1 and instrument_id = $2 order by failed_at desc, deviation_id desc limit 1`
	if err := tx.SelectContext(ctx, &last, q, tx.Plant, in.ID); err != nil {
		return st, err
	}
	if len(last) > 0 {
		st.FailedAt, st.deviation = &last[0].FailedAt, last[0].ID
		if err := st.since(ctx, tx, last[0].FailedAt); err != nil {
			return st, err
		}
	}
	switch state {
	case "retired", "lost":
		st.State = State(state)
	case "in_use":
		if len(last) > 0 {
			st.State = InstrumentReturned
		}
	}
	st.Allowed = instrumentTrack.Allowed(st.State)
	return st, nil
}

// since replays what happened to a suspended instrument from its failure on. The
// check that failed counts as a check once it was adjusted in it and read again.
func (st *InstrumentStanding) since(ctx context.Context, tx *pg.Tx, failedAt time.Time) error {
	h, err := historyOf(ctx, tx, st.id)
	if err != nil {
		return err
	}
	st.State = InstrumentSuspended
	for _, m := range timeline(h) {
		at := time.UnixMicro(m.at())
		switch {
		case at.Before(failedAt) || m.overdue != nil:
		case m.check != nil:
			if at.After(failedAt) || endsDoubt(m.check) {
				st.happens("check")
				st.Check, st.Untrusted = &m.check.ID, m.check.Untrusted
			}
		case m.event.Kind == metrology.Repaired:
			st.happens("repair")
		case adjusts(m.event.Kind):
			st.happens("adjust")
		}
	}
	return st.points(ctx, tx, failedAt, h)
}

func (st *InstrumentStanding) happens(e Event) {
	if step, ok := instrumentTrack.find(st.State, e); ok {
		st.State = step.To
	}
}

// points lists where it has still to pass: of the points that its limits need those
// where it has not passed since, and all that one check has to pass at if a window
// would be open on its return.
func (st *InstrumentStanding) points(ctx context.Context, tx *pg.Tx, failedAt time.Time, h instrument.History) error {
	f, err := atWhichPoints(ctx, tx, st.Instrument)
	if err != nil {
		return err
	}
	for _, pt := range f.Points {
		old := pt.LastGoodAt == nil || pt.LastGoodAt.Before(failedAt)
		if slices.ContainsFunc(f.needed, pt.is) || old && len(f.Limits) > 0 {
			st.Open = append(st.Open, pt.String())
		}
	}
	if len(f.Limits) > 0 || len(st.Open) > 0 {
		return nil
	}
	// Nobody knows where it must be good: the last check speaks for itself.
	i := slices.IndexFunc(h.Checks, func(c instrument.Recorded) bool { return st.Check != nil && c.ID == *st.Check })
	if i < 0 || !endsDoubt(&h.Checks[i]) {
		st.Open = append(st.Open, "where it is checked")
	}
	return nil
}

func (st InstrumentStanding) facts() instrumentFacts {
	return instrumentFacts{GoodEverywhere: st.Check != nil && len(st.Open) == 0, Trusted: st.Untrusted == ""}
}

func init() {
	ways = append(ways, instrumentInTheWay)
}

// instrumentInTheWay: what failed has to be returned, retired or known to be lost
// since this deviation began; and what it was returned on must still be worth
// something.
func instrumentInTheWay(ctx context.Context, tx *pg.Tx, c *docket) (out []Reason, _ error) {
	in, err := instrument.Get(ctx, tx, c.d.Instrument)
	if err != nil {
		return nil, err
	}
	list, err := correct.Outcomes(ctx, tx, c.d.Instrument)
	if err != nil {
		return nil, err
	}
	h, err := instrument.LoadHistory(ctx, tx, in)
	if err != nil {
		return nil, err
	}
	link := "/v1/instruments/" + in.Code + "/standing"
	settled := false
	for _, o := range list {
		if o.Check == nil { // it is used no more
			settled = true
			continue
		}
		i := slices.IndexFunc(h.Checks, func(r instrument.Recorded) bool { return r.ID == *o.Check })
		if i < 0 || h.Checks[i].At < c.d.FailedAt.UnixMicro() {
			continue
		}
		settled = true
		if why := h.Checks[i].Untrusted; why != "" {
			out = append(out, Reason{"reference_under_question", fmt.Sprintf("%s was put back into use on check %d, and %s", in.Code, *o.Check, why), link})
		}
	}
	if !settled {
		out = append(out, Reason{"instrument_not_dispositioned", in.Code + " was neither put back into use with a signed return, nor retired, nor is it known to be lost", link})
	}
	return out, nil
}

// mayDo refuses what the track has not from where the instrument stands.
func (st InstrumentStanding) mayDo(ctx context.Context, e Event, f instrumentFacts) error {
	_, err := instrumentTrack.Next(ctx, st.State, e, actor.Person, f)
	return err
}
