package workflow

import (
	"context"

	"lastgood/workflow/lot"
	"lastgood/workflow/pg"
)

// The states of a portion.
const (
	Free          State = "free"
	OnHold        State = "on_hold"
	UnderTest     State = "under_test"
	Decided       State = "decided"
	Released      State = "released"
	Reworked      State = "reworked"
	Reprocessed   State = "reprocessed"
	Diverted      State = "diverted"
	Destroyed     State = "destroyed"
	RetrievedBack State = "retrieved"
	Unrecoverable State = "accounted_unrecoverable"
)

// PortionFacts is what the guards of a portion look at.
type PortionFacts struct {
	Held    bool // by anything
	Shipped bool // it is not the plant's to hold
	Signed  bool // its disposition, by everyone
	Done    bool // all of it was reported
}

// portionTrack is what may become of a portion. The schema holds the same steps
// (a test compares them), so that no statement takes another.
var portionTrack = Track[PortionFacts]{
	Name:   "portion",
	States: []State{Free, OnHold, UnderTest, Decided, Released, Reworked, Reprocessed, Diverted, Destroyed, RetrievedBack, Unrecoverable},
	Steps: []Step[PortionFacts]{
		{"9 CFR 417.3(b): segregate and hold", from(Free, Released), "hold", OnHold, anyone, needs(held)},
		{"design of this engine: QA lifts what nothing asks for any more", from(OnHold, Decided), "lift", Free, byItself, needs(notHeld)},
		{"77 FR 73401: held until the results are in", from(OnHold, Decided), "order_test", UnderTest, byItself, needs(held)},
		{"77 FR 73401: held until the results are in", from(UnderTest), "report_test", OnHold, byItself, needs(held)},
		{"77 FR 73401: and then as it was decided before", from(UnderTest), "report_test_decided", Decided, byItself, needs(held)},
		{"design notes on the procedure, T10", from(OnHold), "decide", Decided, aPerson, needs(held)},
		{"design notes on the procedure, T10, T24: what has left is decided on where it is", from(Free, Released, RetrievedBack), "decide_shipped", Decided, aPerson, needs(shipped)},
		{"design notes on the procedure, T12", from(Decided), "withdraw", OnHold, byItself, needs(held)},
		{"21 CFR 117.150(a)(2)(iv): only what is not adulterated", from(Decided), "release", Released, anyone, needs(signedByAll, allReported)},
		{"9 CFR 417.3(b)(3)", from(Decided), "rework", Reworked, anyone, needs(signedByAll, allReported)},
		{"9 CFR 417.3(b)(3)", from(Decided), "reprocess", Reprocessed, anyone, needs(signedByAll, allReported)},
		{"9 CFR 417.3(b)(3)", from(Decided), "divert", Diverted, anyone, needs(signedByAll, allReported)},
		{"9 CFR 417.3(b)(3)", from(Decided), "destroy", Destroyed, anyone, needs(signedByAll, allReported)},
		{"21 CFR 7.49, from memory: product removed from the market", from(Decided), "retrieve", RetrievedBack, anyone, needs(signedByAll, allReported, shipped)},
		{"common practice: eaten, lost, wasted, with the reason", from(Decided), "write_off", Unrecoverable, anyone, needs(signedByAll, allReported, shipped)},
	},
}

var (
	held        = Guard[PortionFacts]{"a hold on it", func(f PortionFacts) bool { return f.Held }}
	notHeld     = Guard[PortionFacts]{"no hold on it", func(f PortionFacts) bool { return !f.Held }}
	shipped     = Guard[PortionFacts]{"product that has left", func(f PortionFacts) bool { return f.Shipped }}
	signedByAll = Guard[PortionFacts]{"its disposition signed by everyone", func(f PortionFacts) bool { return f.Signed }}
	allReported = Guard[PortionFacts]{"all of it reported", func(f PortionFacts) bool { return f.Done }}
)

// movePortion lets an event happen to a portion.
func movePortion(ctx context.Context, tx *pg.Tx, p *lot.Portion, e Event, f PortionFacts) error {
	to, err := portionTrack.Next(ctx, State(p.State), e, tx.By.Kind, f)
	if err != nil {
		return err
	}
	p.State = string(to)
	return lot.SetPortionState(ctx, tx, p.ID, p.State)
}

// The states of a hold.
const (
	Standing     State = "standing"
	Acknowledged State = "acknowledged"
	Lifted       State = "lifted"
)

// HoldFacts is what the guards of a hold look at.
type HoldFacts struct {
	Counted bool // with the whole quantity
	Decided bool // by a signed disposition that was carried out, or by QA's signature
}

// holdTrack is what may become of a hold. Anyone places one; it counts when it is
// acknowledged with the whole quantity; a lifted one stays lifted, and what is held
// again has a new one. The schema keeps a lifted hold as it is.
var holdTrack = Track[HoldFacts]{
	Name:   "hold",
	States: []State{Standing, Acknowledged, Lifted},
	Steps: []Step[HoldFacts]{
		{"9 CFR 417.3(b): segregate and hold", from(Standing), "acknowledge", Acknowledged, anyone,
			needs(Guard[HoldFacts]{"the whole quantity counted", func(f HoldFacts) bool { return f.Counted }})},
		{"design notes on signing, E-053: only QA lifts", from(Standing, Acknowledged), "lift", Lifted, byItself,
			needs(Guard[HoldFacts]{"a signed disposition carried out, or QA's signature", func(f HoldFacts) bool { return f.Decided }})},
	},
}
