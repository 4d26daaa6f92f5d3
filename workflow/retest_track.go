package workflow

import (
	"context"
	"fmt"

	"lastgood/policy/sampling"
	"lastgood/workflow/actor"
	"lastgood/workflow/lot"
	"lastgood/workflow/pg"
	"lastgood/workflow/retest"
	"lastgood/workflow/signoff"
	"lastgood/workflow/trail"
)

// The states of a re-test.
const (
	TestOrdered      State = "ordered"       // next: whoever draws samples
	TestSampled      State = "sampled"       // next: whoever carries them
	TestInLaboratory State = "in_laboratory" // next: the laboratory
	TestReported     State = "reported"      // the results are in, and leave the decision open
	TestDecided      State = "decided"       // by the plan: accepted or rejected
	TestCancelled    State = "cancelled"     // taken back, by signature
)

// testFacts is what the guards of a re-test look at.
type testFacts struct {
	Drawn, Asked int  // samples
	Received     bool // by the laboratory
	Missing      int  // results that the plan still asks for
	Decided      bool
	Cancelled    bool // by everyone's signature
}

var retestTrack = Track[testFacts]{
	Name:   "retest",
	States: []State{TestOrdered, TestSampled, TestInLaboratory, TestReported, TestDecided, TestCancelled},
	Steps: []Step[testFacts]{
		{"design notes, §9: taken back only by signature", from(TestOrdered, TestSampled, TestInLaboratory, TestReported), "take_back", TestCancelled, byItself, needs(testTakenBack)},
		{"design notes on the procedure, §10: a result amended", from(TestDecided), "amend", TestReported, byItself, needs(testOpen)},
		{"ICMSF, n samples of a plan: a voided result leaves a place open", from(TestReported), "await", TestInLaboratory, byItself, needs(testOpen, resultsMissing)},
		{"ICMSF, n samples of a plan", from(TestOrdered), "draw", TestSampled, byItself, needs(enoughDrawn)},
		{"design notes on the procedure, T08: chain of custody", from(TestSampled), "receive", TestInLaboratory, byItself, needs(received)},
		{"design notes on the procedure, T09: result received", from(TestInLaboratory), "report_results", TestReported, byItself, needs(resultsIn)},
		{"design notes, §9: accepted or rejected by the plan", from(TestReported), "decide", TestDecided, byItself, needs(testSettled)},
	},
}

var (
	testTakenBack  = Guard[testFacts]{"the cancellation signed by all", func(f testFacts) bool { return f.Cancelled }}
	enoughDrawn    = Guard[testFacts]{"as many samples as the plan asks for", func(f testFacts) bool { return f.Drawn >= f.Asked }}
	received       = Guard[testFacts]{"the samples received by the laboratory", func(f testFacts) bool { return f.Received }}
	resultsIn      = Guard[testFacts]{"as many results as the plan asks for, or as decide", func(f testFacts) bool { return f.Missing == 0 || f.Decided }}
	resultsMissing = Guard[testFacts]{"a result that the plan still asks for", func(f testFacts) bool { return f.Missing > 0 }}
	testSettled    = Guard[testFacts]{"the plan decided", func(f testFacts) bool { return f.Decided }}
	testOpen       = Guard[testFacts]{"the plan not decided", func(f testFacts) bool { return !f.Decided }}
)

func (t Retest) facts() testFacts {
	f := testFacts{Drawn: len(t.Samples), Asked: t.Plan.N, Missing: t.Outcome.Missing, Cancelled: t.Cancelled,
		Decided: t.Outcome.Decision == sampling.Accept || t.Outcome.Decision == sampling.Reject}
	for _, c := range t.Custody {
		f.Received = f.Received || c.Kind == retest.Received
	}
	return f
}

// follow lets a state follow from facts, as far as the track goes by itself, and
// tells of each step.
func (t Track[F]) follow(ctx context.Context, s State, f F, happened func(e Event, from, to State) error) (State, error) {
	for range 2 * len(t.States) {
		e, any := t.due(s, f)
		if !any {
			return s, nil
		}
		to, err := t.Next(ctx, s, e, actor.System, f)
		if err != nil {
			return s, err
		}
		if err := happened(e, s, to); err != nil {
			return s, err
		}
		s = to
	}
	return s, fmt.Errorf("the %s does not come to rest in %s", t.Name, s)
}

// followTests lets follow what follows from the re-tests of a deviation: where each
// stands, where its portion stands, what was decided on it, and the deviation.
func followTests(ctx context.Context, tx *pg.Tx, d *Deviation, why string) error {
	list, err := retestsOf(ctx, tx, d.ID)
	if err != nil {
		return err
	}
	for _, t := range list {
		_, err := retestTrack.follow(ctx, State(t.State), t.facts(), func(e Event, from, to State) error {
			if err := retest.Move(ctx, tx, t.ID, string(to)); err != nil {
				return err
			}
			return trail.Append(ctx, tx, trail.Entry{Stream: d.stream(), Action: "retest." + string(e), Subject: t.name(), Version: t.Version + 1,
				Before: from, After: map[string]any{"retest": t.ID, "state": to, "decision": t.Outcome.Decision, "why": t.Outcome.Reason}})
		})
		if err != nil {
			return err
		}
		if err := bringVoidUp(ctx, tx, *d, t); err != nil {
			return err
		}
	}
	if err := refresh(ctx, tx, d, why); err != nil {
		return err
	}
	if err := testedPortions(ctx, tx, *d, list); err != nil {
		return err
	}
	return advance(ctx, tx, d)
}

// bringVoidUp shows whoever is asked to take an order back what came in since.
func bringVoidUp(ctx context.Context, tx *pg.Tx, d Deviation, t Retest) error {
	var asked []int64
	const q = `select void_id from retest_void where plant_id = $1 and retest_id = $2 and result_id is null and signed_at is null`
	if err := tx.SelectContext(ctx, &asked, q, tx.Plant, t.ID); err != nil || len(asked) == 0 {
		return err
	}
	v, err := retest.GetVoid(ctx, tx, asked[0])
	if err != nil {
		return err
	}
	_, err = signoff.Put(ctx, tx, voidDraft(d, t, v, "more is known of the re-test"))
	return err
}

// testedPortions keeps the state of portions: under test while a re-test of them
// has not decided, and afterwards as before.
func testedPortions(ctx context.Context, tx *pg.Tx, d Deviation, list []Retest) error {
	c, err := docketOf(ctx, tx, d)
	if err != nil {
		return err
	}
	pending := map[lot.PortionID]bool{}
	for _, t := range list {
		pending[t.Portion] = pending[t.Portion] || t.pending()
	}
	for id, still := range pending {
		p := c.portion(id)
		to := ""
		_, decided := c.decision(id)
		switch {
		case still && (p.State == "on_hold" || p.State == "decided"):
			to = "under_test"
		case !still && p.State == "under_test" && decided:
			to = "decided"
		case !still && p.State == "under_test":
			to = "on_hold"
		default:
			continue
		}
		if err := lot.SetPortionState(ctx, tx, id, to); err != nil {
			return err
		}
	}
	return nil
}
