package workflow

// The states of a deviation, in the order in which the trade works.
const (
	// Detected: a check failed, and the precautionary holds are placed but not
	// all acknowledged. Next to act: whoever guards the stock.
	Detected State = "detected"
	// Contained: every hold is acknowledged with the whole quantity counted.
	// Next: the engine, with a trace.
	Contained State = "contained"
	// Traced: a trace run that knows all evidence is stored, with an assessment
	// of every lot. Next: a qualified person takes the evaluation on.
	Traced State = "traced"
	// Evaluating: a named person evaluates what the last run found, and QA proposes
	// what becomes of each portion.
	Evaluating State = "evaluating"
	// AwaitingResults: a re-test that was ordered has not decided yet. Next: the
	// laboratory.
	AwaitingResults State = "awaiting_results"
	// DispositionProposed: every portion in doubt has a proposal. Next: whoever
	// signs.
	DispositionProposed State = "disposition_proposed"
	// DispositionSigned: everyone has signed every proposal. Next: the floor.
	DispositionSigned State = "disposition_signed"
	// Executing: the first disposition was carried out, and not yet the last.
	Executing State = "executing"
	// Verifying: everything was carried out. Next: what stands in the way of
	// closing, and then the two who close.
	Verifying State = "verifying"
	// Closed: nothing stood in the way, and two people signed.
	Closed State = "closed"
	// Reopened: something turned up after closing that may change a verdict, a
	// quantity or a lot. What was signed and is unchanged stays signed.
	Reopened State = "reopened"
	// CancelledInError: the check that opened it was shown to be no check. It stays
	// in the log.
	CancelledInError State = "cancelled_in_error"
)

// States are those of a deviation.
var States = deviationTrack.States

// The events of a deviation.
const (
	Contain     Event = "contain"
	Trace       Event = "trace"
	Evaluate    Event = "evaluate"
	Resume      Event = "resume"
	OrderTest   Event = "order_test"
	ReportTest  Event = "report_test"
	Propose     Event = "propose"
	Withdraw    Event = "withdraw"
	SignAll     Event = "sign"
	Unsign      Event = "unsign"
	Execute     Event = "execute"
	Finish      Event = "finish"
	Close       Event = "close"
	Reopen      Event = "reopen"
	CancelError Event = "cancel"
	Widen       Event = "widen"
	Retrace     Event = "retrace"
)

// Facts is what the guards of a deviation look at, read before the machine is
// asked.
type Facts struct {
	Holds          int  // standing
	Unacknowledged int  // of them
	Short          int  // acknowledged with less than the quantity held
	TraceRuns      int  // stored
	TraceCurrent   bool // the last run knows all the evidence
	Evaluator      bool // a person is named
	PolicyPinned   bool // a policy version is stored with the last run
	Unchanged      bool // what the last run found is what was evaluated
	TestsPending   int  // ordered, and not decided
	Undecided      int  // portions without a proposal that is still allowed
	Unsigned       int  // proposals that somebody has still to sign
	Executions     int  // carried out and reported, of those that stand
	Unexecuted     int  // signed, and not yet carried out whole
	InTheWay       int  // reasons that stand in the way of closing
	ClosingSigned  bool // by everyone, on the present state
	Cancelled      bool // the cancellation is signed by everyone
	ReopenAsked    bool // a person gave a reason to reopen
}

// deviationTrack is the written procedure, one row a step. Change the document
// first, then this table. What leads back stands before what leads on: new
// evidence is never overtaken by an old decision.
var deviationTrack = Track[Facts]{
	Name: "deviation",
	States: []State{Detected, Contained, Traced, Evaluating, AwaitingResults, DispositionProposed, DispositionSigned, Executing, Verifying,
		Closed, Reopened, CancelledInError},
	Steps: []Step[Facts]{
		{"21 CFR 117.150(a)(2)(iv): newly affected food", from(Contained, Traced, Evaluating, AwaitingResults, DispositionProposed, DispositionSigned, Executing, Verifying),
			Widen, Detected, byItself, needs(newHolds)},
		{"21 CFR 117.150(a)(2)(iii): late evidence", from(Evaluating, AwaitingResults, DispositionProposed, DispositionSigned, Executing, Verifying),
			Retrace, Traced, byItself, needs(traceCurrent, changed)},
		{"design notes on the procedure, §10: what may reopen", from(Closed), Reopen, Reopened, byItself, needs(somethingNew)},
		{"design notes on the procedure, T22: the check was no check", from(Detected, Contained, Traced), CancelError, CancelledInError, aPerson, needs(cancelSigned)},
		{"9 CFR 417.3(b): segregate and hold", from(Detected, Reopened), Contain, Contained, byItself, needs(allAcknowledged, nothingShort)},
		{"21 CFR 117.150(a)(2)(iii): all affected food", from(Contained), Trace, Traced, byItself, needs(traceStored, traceCurrent)},
		{"21 CFR 117.150(a)(2)(iii): evaluate for safety", from(Traced), Evaluate, Evaluating, aPerson, needs(traceCurrent, evaluatorNamed, policyPinned)},
		{"common practice: who evaluated the same findings need not do so again", from(Traced), Resume, Evaluating, byItself,
			needs(traceCurrent, evaluatorNamed, unchanged)},
		{"77 FR 73401: held until the results are in", from(Evaluating, DispositionProposed, DispositionSigned), OrderTest, AwaitingResults, byItself, needs(testPending)},
		{"77 FR 73401: held until the results are in", from(AwaitingResults), ReportTest, Evaluating, byItself, needs(noTestPending)},
		{"design notes on the procedure, T12: changed before it is carried out", from(DispositionProposed, DispositionSigned, Executing, Verifying), Withdraw, Evaluating, byItself,
			needs(somethingUndecided)},
		{"design notes on the procedure, T10: every quantity has one proposal", from(Evaluating), Propose, DispositionProposed, byItself,
			needs(traceCurrent, allDecided, noTestPending)},
		{"design notes on signing, E-011: a signature counts for what was seen", from(DispositionSigned, Executing, Verifying), Unsign, DispositionProposed, byItself,
			needs(somethingUnsigned)},
		{"design notes on the procedure, T11: who signs what", from(DispositionProposed), SignAll, DispositionSigned, byItself, needs(traceCurrent, allDecided, allSigned)},
		{"design notes on the procedure, T13: lifted only for what was signed", from(DispositionSigned), Execute, Executing, byItself, needs(traceCurrent, begun)},
		{"design notes on the procedure, T15: all portions carried out", from(Executing), Finish, Verifying, byItself, needs(traceCurrent, allSigned, allExecuted)},
		{"design notes on the procedure, T18: no reason stands in the way", from(Verifying), Close, Closed, aPerson, needs(traceCurrent, allDecided, allSigned, allExecuted, nothingInTheWay, closingSigned)},
	},
}

var (
	allAcknowledged    = Guard[Facts]{"every hold acknowledged", func(f Facts) bool { return f.Unacknowledged == 0 }}
	nothingShort       = Guard[Facts]{"the whole quantity of every hold counted", func(f Facts) bool { return f.Short == 0 }}
	traceStored        = Guard[Facts]{"a trace run stored", func(f Facts) bool { return f.TraceRuns > 0 }}
	traceCurrent       = Guard[Facts]{"the last trace run knows all evidence", func(f Facts) bool { return f.TraceCurrent }}
	evaluatorNamed     = Guard[Facts]{"a person who evaluates named", func(f Facts) bool { return f.Evaluator }}
	policyPinned       = Guard[Facts]{"the policy version pinned", func(f Facts) bool { return f.PolicyPinned }}
	newHolds           = Guard[Facts]{"a hold not yet acknowledged", func(f Facts) bool { return f.Unacknowledged > 0 || f.Short > 0 }}
	unchanged          = Guard[Facts]{"the findings those that were evaluated", func(f Facts) bool { return f.Unchanged }}
	changed            = Guard[Facts]{"findings that differ from those evaluated", func(f Facts) bool { return !f.Unchanged }}
	testPending        = Guard[Facts]{"a re-test ordered and not decided", func(f Facts) bool { return f.TestsPending > 0 }}
	noTestPending      = Guard[Facts]{"every re-test decided", func(f Facts) bool { return f.TestsPending == 0 }}
	allDecided         = Guard[Facts]{"a proposal for every portion", func(f Facts) bool { return f.Undecided == 0 }}
	somethingUndecided = Guard[Facts]{"a portion without a proposal", func(f Facts) bool { return f.Undecided > 0 }}
	allSigned          = Guard[Facts]{"every proposal signed by everyone", func(f Facts) bool { return f.Unsigned == 0 }}
	somethingUnsigned  = Guard[Facts]{"a proposal to be signed again", func(f Facts) bool { return f.Undecided == 0 && f.Unsigned > 0 }}
	begun              = Guard[Facts]{"something carried out, or nothing to carry out", func(f Facts) bool { return f.Executions > 0 || f.Unexecuted == 0 }}
	allExecuted        = Guard[Facts]{"every disposition carried out", func(f Facts) bool { return f.Unexecuted == 0 }}
	nothingInTheWay    = Guard[Facts]{"nothing in the way of closing", func(f Facts) bool { return f.InTheWay == 0 }}
	closingSigned      = Guard[Facts]{"the closing signed by both", func(f Facts) bool { return f.ClosingSigned }}
	cancelSigned       = Guard[Facts]{"the cancellation signed by all", func(f Facts) bool { return f.Cancelled }}
	somethingNew       = Guard[Facts]{"a changed finding, a new hold, a decision outdated, or a reason given", func(f Facts) bool {
		return f.ReopenAsked || f.TraceCurrent && !f.Unchanged || f.Unacknowledged+f.Short > 0 || f.Undecided+f.Unsigned > 0
	}}
)
