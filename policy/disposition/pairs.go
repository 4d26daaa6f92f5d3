package disposition

// Exception says on what terms a conflict may stand.
type Exception string

// The terms.
const (
	NoException Exception = "none"
	// WithNote: allowed, and said where the decision is read.
	WithNote Exception = "with_note"
	// SmallPlant: the plant has set it with a reason and an end within 12 months,
	// and another person verifies within one working day (design notes on signing,
	// E-051).
	SmallPlant Exception = "small_plant"
)

// pair is one row of the table of what one person may not both do, to the same
// portion, check, standard or rule.
type pair struct {
	rule      string // stable
	clause    string // of the design notes on signing; empty: not numbered there
	first     []Deed
	second    []Deed
	where     scope
	why       string
	exception Exception
	source    string
}

// scope says which deeds of a row are held against each other.
type scope string

const (
	ofTheSame  scope = "about the same"
	ofARelease scope = "about the same release" // or it is not said that it is none
	inTwoRoles scope = "about the same, in two roles"
	ofAnything scope = "whatever either is about"
)

const (
	another  = "CXC 1-1969 ch. 2, verification by someone other than who monitors or takes corrective action (from memory)"
	reviewed = practice + "; compare 9 CFR 417.5(c), review where practicable by someone who did not make the record"
)

// signed are the deeds that carry a signature.
var signed = []Deed{VerifiedCheck, Evaluated, Reported, Proposed, Approved, Judged, Executed, Witnessed, Verified,
	NotReportable, NotReportableRead, ClosedDeviation, VerifiedClosing, WroteRule, ApprovedRule}

// pairs are S-1 to S-10 of the design notes on signing, §6, and three that stand
// elsewhere there: one signature for each role (§2), and verification and closing
// by somebody independent (procedure, §6).
var pairs = []pair{
	{"check-verified", "S-1", []Deed{CheckedInstrument}, []Deed{VerifiedCheck}, ofTheSame,
		"who did the check does not verify its result", NoException, another},
	{"proposal-approved", "S-2", []Deed{Proposed}, []Deed{Approved}, ofTheSame,
		"who proposed a disposition does not approve it", NoException, practice},
	{"approved-twice", "E-014", []Deed{Approved}, []Deed{Approved}, inTwoRoles,
		"one person in two roles is one signature", NoException, practice},
	{"destruction-witnessed", "S-3", []Deed{Executed}, []Deed{Witnessed}, ofTheSame,
		"who destroys product does not witness that", NoException, practice},
	{"reading-relied-on", "S-4", []Deed{EnteredReading, ExcludedReading}, []Deed{Approved}, ofARelease,
		"who entered or excluded a reading does not approve a release that relies on it", NoException, reviewed},
	{"reference-judged", "S-5", []Deed{CertifiedReference}, []Deed{Evaluated}, ofTheSame,
		"who certified the reference standard evaluates the product only with a note that says so", WithNote, practice},
	{"administrator-signed", "S-6", []Deed{Administered}, signed, ofAnything,
		"who administers users or roles signs nothing", NoException, practice},
	{"own-production-released", "S-7", []Deed{Produced}, []Deed{Approved}, ofARelease,
		"who made the product, or supervised its making, does not approve its release", NoException, practice},
	{"own-deviation-closed", "S-8", []Deed{OwnedDeviation}, []Deed{ClosedDeviation}, ofAnything,
		"who owns the deviation does not close it", SmallPlant, practice},
	{"own-rule-approved", "S-9", []Deed{WroteRule}, []Deed{ApprovedRule}, ofTheSame,
		"who wrote a rule does not approve that version of it", NoException, practice},
	{"own-determination-reviewed", "S-10", []Deed{NotReportable}, []Deed{NotReportableRead}, ofTheSame,
		"who determined that nothing need be reported does not review that", NoException, practice},
	{"decision-verified", "", []Deed{Proposed, Approved, Executed}, []Deed{Verified}, ofTheSame,
		"who decided or carried out a disposition does not verify it", NoException, another + "; 21 CFR 117.155"},
	{"closing-verified", "", []Deed{ClosedDeviation}, []Deed{VerifiedClosing}, ofAnything,
		"who closes the deviation does not verify the closing", NoException, practice},
}

// terms is the exception of a row for two deeds. A small plant may let one person
// decide on what is destroyed or retrieved; never on what goes out or on.
func (p pair) terms(a, b Act) Exception {
	taken := func(d Disposition) bool { return d == Destroy || d == Retrieve }
	if p.rule == "proposal-approved" && taken(a.Disposition) && taken(b.Disposition) {
		return SmallPlant
	}
	return p.exception
}
