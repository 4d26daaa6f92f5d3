package disposition

import "slices"

// Disposition is what is decided for a portion.
type Disposition string

// The dispositions, in the order of the trade.
const (
	Release   Disposition = "release"
	Rework    Disposition = "rework"    // into other product
	Reprocess Disposition = "reprocess" // through the process, or a validated step, again
	Divert    Disposition = "divert"    // to a use where the hazard does not matter
	Destroy   Disposition = "destroy"
	Retrieve  Disposition = "retrieve" // recall, market withdrawal or stock recovery
)

var all = []Disposition{Release, Rework, Reprocess, Divert, Destroy, Retrieve}

// All returns every disposition, in the order of the trade.
func All() []Disposition { return slices.Clone(all) }

// Place is where the portion is.
type Place string

// The places. An empty or foreign one counts as Shipped: what nobody can show to
// be in control has left.
const (
	InControl Place = "in_control"
	Shipped   Place = "shipped"
	Retrieved Place = "retrieved" // it has come back
)

// Evidence is a kind of evidence that is attached to a portion.
type Evidence string

// The kinds.
const (
	SecondInstrument     Evidence = "second_instrument"
	DownstreamStep       Evidence = "downstream_step"
	AuthorityReport      Evidence = "authority_report"
	QualifiedEvaluation  Evidence = "qualified_evaluation"
	ScientificEvaluation Evidence = "scientific_evaluation"
	ValidatedProcess     Evidence = "validated_process"
	ReceiverAcceptance   Evidence = "receiver_acceptance"
	DetailedAssessment   Evidence = "detailed_assessment"
	TestResults          Evidence = "test_results"
	ProductTest          Evidence = "product_test"
)

// kinds says what each kind of evidence has to be. The workflow checks that; here
// it counts once it is attached.
var kinds = []struct {
	evidence Evidence
	means    string
}{
	{SecondInstrument, "a second instrument, checked good before and after by another reference, shows the limit met on the same product"},
	{DownstreamStep, "a later step, validated for the hazard and proven by a good instrument, that all of the portion went through; never against a toxin"},
	{AuthorityReport, "the report of a processing authority who evaluated by recognised procedures, with its result"},
	{QualifiedEvaluation, "the signed evaluation of a qualified person (PCQI, 9 CFR 417.7 or 21 CFR 123.10)"},
	{ScientificEvaluation, "a signed scientific evaluation of a cooking or cooling deviation by the regime's own guideline"},
	{ValidatedProcess, "the validation of the process that the product is put through again"},
	{ReceiverAcceptance, "the receiver's written acceptance, with the use and why the hazard is controlled there"},
	{DetailedAssessment, "a signed detailed assessment that this part of the batch is not affected"},
	{TestResults, "the results of every test that was ordered"},
	{ProductTest, "a test of the finished product: it supports other evidence and is never enough"},
}

// Kinds returns every kind of evidence.
func Kinds() []Evidence {
	out := make([]Evidence, len(kinds))
	for i, k := range kinds {
		out[i] = k.evidence
	}
	return out
}

// Means says what evidence of this kind has to be; empty: there is no such kind.
func (e Evidence) Means() string {
	for _, k := range kinds {
		if k.evidence == e {
			return k.means
		}
	}
	return ""
}

// Role is in what capacity somebody acts.
type Role string

// The roles.
const (
	LineSupervisor        Role = "line_supervisor"
	QALead                Role = "qa_lead"
	QualifiedPerson       Role = "qualified_person" // PCQI, or trained by 9 CFR 417.7 or 21 CFR 123.10
	ProcessAuthority      Role = "process_authority"
	PlantManager          Role = "plant_manager"
	RegulatoryLiaison     Role = "regulatory_liaison"
	Verifier              Role = "verifier" // independent of the decision
	CalibrationTechnician Role = "calibration_technician"
	Reviewer              Role = "reviewer" // of records
	Operator              Role = "operator"
	Inspector             Role = "inspector"     // reads, and signs nothing
	Administrator         Role = "administrator" // of people and keys; holds no other role
)

// Deed is one thing that somebody did in a deviation.
type Deed string

// The deeds.
const (
	Produced           Deed = "produced" // made the product, or supervised the line that did
	CheckedInstrument  Deed = "checked"  // did the failed check
	VerifiedCheck      Deed = "check_verified"
	CertifiedReference Deed = "reference_certified"
	EnteredReading     Deed = "reading_entered"
	ExcludedReading    Deed = "reading_excluded"
	OwnedDeviation     Deed = "deviation_owned"
	Evaluated          Deed = "evaluated" // the impact on the product
	Reported           Deed = "reported"  // a processing authority's evaluation
	Proposed           Deed = "proposed"
	Approved           Deed = "approved"
	Judged             Deed = "duties_judged" // what must be reported, and to whom
	Executed           Deed = "executed"
	Witnessed          Deed = "witnessed"
	Verified           Deed = "verified" // the decision, and that it was carried out
	NotReportable      Deed = "determined_not_reportable"
	NotReportableRead  Deed = "not_reportable_reviewed"
	ClosedDeviation    Deed = "closed"
	VerifiedClosing    Deed = "closing_verified"
	WroteRule          Deed = "rule_written"
	ApprovedRule       Deed = "rule_approved"
	Administered       Deed = "administered" // users and their roles
)
