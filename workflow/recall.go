package workflow

import (
	"context"
	"errors"
	"fmt"

	"github.com/go-json-experiment/json"

	"lastgood/workflow/fault"
	"lastgood/workflow/pg"
	"lastgood/workflow/recall"
	"lastgood/workflow/trail"
)

// The states of a recall.
const (
	RecallNotNeeded State = "not_needed"
	// RecallDeciding: a pack is drawn up. Next: those who sign it, yes or no.
	RecallDeciding State = "deciding"
	// RecallDecided: signed yes. Next: the liaison tells every consignee.
	RecallDecided    State = "decided"
	RecallDecidedNot State = "decided_not" // signed no
	RecallNotified   State = "notified"    // every consignee was told
	// Retrieving: consignees answer.
	Retrieving State = "retrieving"
	// EffectivenessChecking: it is drawn who is checked.
	EffectivenessChecking State = "effectiveness_checking"
	// TerminationRequested: the agency was asked to end it. Next: the agency.
	TerminationRequested State = "termination_requested"
	RecallTerminated     State = "terminated"
)

// The events of a recall.
const (
	DrawUp             Event = "draw_up"
	DecideRecall       Event = "decide"
	DeclineRecall      Event = "decline"
	AllNotified        Event = "all_notified"
	NotifyAgain        Event = "notify_again"
	Answered           Event = "answered"
	DrawSample         Event = "draw_sample"
	RequestTermination Event = "request_termination"
	RefuseTermination  Event = "refuse_termination"
	Terminate          Event = "terminate"
)

// RecallFacts is what the guards of a recall look at.
type RecallFacts struct {
	Left       int  // consignments of product in doubt
	ToNotify   int  // consignees who were not told, or failed a check since
	Unnamed    int  // consignments of which nobody knows to whom they went
	Responses  int  // consignments that somebody answered for
	Drawn      bool // who is checked
	Unchecked  int  // of those, not passed since they were last told
	Unreturned int  // portions that left and are not carried out as decided, or came back and are not disposed of
	Yes, No    bool // decided so, signed by everyone, on what is known to have left
	Reference  bool // of the letter
}

// recallTrack is the written procedure of a recall, a market withdrawal or a stock
// recovery.
var recallTrack = Track[RecallFacts]{
	Name: "recall",
	States: []State{RecallNotNeeded, RecallDeciding, RecallDecided, RecallDecidedNot, RecallNotified, Retrieving, EffectivenessChecking,
		TerminationRequested, RecallTerminated},
	Steps: []Step[RecallFacts]{
		{"21 CFR 7.46(a): the firm decides, by a pack", from(RecallNotNeeded, RecallDecidedNot, RecallDecided, RecallNotified, Retrieving, EffectivenessChecking),
			DrawUp, RecallDeciding, aPerson, needs(somethingLeft)},
		{"21 CFR 7.46(a): the firm decides, by a pack", from(RecallDeciding), DecideRecall, RecallDecided, aPerson, needs(somethingLeft, signedYes)},
		{"design notes on the procedure, T25: signed yes or signed no", from(RecallDeciding), DeclineRecall, RecallDecidedNot, aPerson, needs(signedNo)},
		{"21 CFR 7.42(b)(3): who fails a check is told again", from(RecallNotified, Retrieving, EffectivenessChecking, TerminationRequested, RecallTerminated),
			NotifyAgain, RecallDecided, byItself, needs(somebodyToNotify)},
		{"21 CFR 7.49(a): each direct account", from(RecallDecided), AllNotified, RecallNotified, byItself, needs(somethingLeft, nobodyUnnamed, nobodyToNotify)},
		{"21 CFR 7.53(b): responded and quantity on hand", from(RecallNotified), Answered, Retrieving, byItself, needs(somebodyAnswered)},
		{"21 CFR 7.42(b)(3): effectiveness checks at the level decided", from(Retrieving), DrawSample, EffectivenessChecking, byItself, needs(sampleDrawn)},
		{"21 CFR 7.55(b): with status and disposition", from(EffectivenessChecking), RequestTermination, TerminationRequested, aPerson,
			needs(nobodyToNotify, sampleDrawn, allChecked, allDisposedOf, letterNamed)},
		{"21 CFR 7.55(a): the agency ends it", from(TerminationRequested), RefuseTermination, EffectivenessChecking, aPerson, needs(letterNamed)},
		{"21 CFR 7.55(a): the agency ends it", from(TerminationRequested), Terminate, RecallTerminated, aPerson, needs(letterNamed, allDisposedOf)},
	},
}

var (
	somethingLeft    = Guard[RecallFacts]{"product in doubt that has left", func(f RecallFacts) bool { return f.Left > 0 }}
	signedYes        = Guard[RecallFacts]{"the decision to retrieve, signed by everyone", func(f RecallFacts) bool { return f.Yes }}
	signedNo         = Guard[RecallFacts]{"the decision not to retrieve, signed by everyone", func(f RecallFacts) bool { return f.No }}
	somebodyToNotify = Guard[RecallFacts]{"a consignee who is to be told", func(f RecallFacts) bool { return f.ToNotify > 0 }}
	nobodyToNotify   = Guard[RecallFacts]{"every consignee told", func(f RecallFacts) bool { return f.ToNotify == 0 }}
	nobodyUnnamed    = Guard[RecallFacts]{"a consignee for every shipment", func(f RecallFacts) bool { return f.Unnamed == 0 }}
	somebodyAnswered = Guard[RecallFacts]{"an answer of a consignee", func(f RecallFacts) bool { return f.Responses > 0 }}
	sampleDrawn      = Guard[RecallFacts]{"a sample drawn of all consignees, at the level decided", func(f RecallFacts) bool { return f.Drawn }}
	allChecked       = Guard[RecallFacts]{"a passed check of everyone in the sample", func(f RecallFacts) bool { return f.Unchecked == 0 }}
	allDisposedOf    = Guard[RecallFacts]{"everything that left accounted for, and what came back disposed of", func(f RecallFacts) bool { return f.Unreturned == 0 }}
	letterNamed      = Guard[RecallFacts]{"the reference of the letter", func(f RecallFacts) bool { return f.Reference }}
)

// desk is a recall with everything that was recorded of it and all that is decided
// in the deviation.
type desk struct {
	recall.Desk
	r    recall.Recall
	c    *docket
	pack RecallPack
}

// deskOf reads it.
func deskOf(ctx context.Context, tx *pg.Tx, c *docket) (*desk, error) {
	k := &desk{c: c}
	var err error
	if k.r, err = recall.Of(ctx, tx, int64(c.d.ID)); err != nil {
		return nil, err
	}
	if len(k.r.Pack) > 0 {
		if err := json.Unmarshal(k.r.Pack, &k.pack); err != nil {
			return nil, fmt.Errorf("pack of recall %d: %w", k.r.ID, err)
		}
	}
	k.Desk, err = recall.DeskOf(ctx, tx, k.r.ID)
	return k, err
}

// recallOf is deskOf where there need be none: nil.
func recallOf(ctx context.Context, tx *pg.Tx, c *docket) (*desk, error) {
	k, err := deskOf(ctx, tx, c)
	if errors.Is(err, fault.NotFound) {
		return nil, nil
	}
	return k, err
}

// move lets an event happen to the recall and tells the trail.
func (k *desk) move(ctx context.Context, tx *pg.Tx, e Event, f RecallFacts, after map[string]any, reason string) error {
	before := k.r.State
	to, err := recallTrack.Next(ctx, State(before), e, tx.By.Kind, f)
	if err != nil {
		return err
	}
	k.r.State = string(to)
	if err := recall.Put(ctx, tx, k.r); err != nil {
		return err
	}
	k.r.Version++
	if after == nil {
		after = map[string]any{}
	}
	after["state"] = to
	return trail.Append(ctx, tx, trail.Entry{Stream: k.c.d.stream(), Action: "recall." + string(e), Subject: fmt.Sprint(k.r.ID), Version: k.r.Version,
		Before: before, After: after, Reason: reason})
}

// goOn lets the recall go as far as it goes by itself.
func (k *desk) goOn(ctx context.Context, tx *pg.Tx) (err error) {
	if k.Desk, err = recall.DeskOf(ctx, tx, k.r.ID); err != nil {
		return err
	}
	for range 2 * len(recallTrack.States) {
		f := k.facts()
		e, any := recallTrack.due(State(k.r.State), f)
		if !any {
			return nil
		}
		if err := k.move(ctx, tx, e, f, nil, ""); err != nil {
			return err
		}
	}
	return fmt.Errorf("recall %d does not come to rest in %s", k.r.ID, k.r.State)
}
