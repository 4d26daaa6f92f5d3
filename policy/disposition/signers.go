package disposition

import "slices"

// Signature is one that a disposition needs.
type Signature struct {
	Role    Role
	Deed    Deed
	Meaning string // of the signature, a sentence without its subject
}

// seat is one row of the table of who signs.
type seat struct {
	of      []Disposition
	role    Role
	deed    Deed
	meaning string
	from    int               // the level from which it signs
	when    func(Facts) bool  // nil: always
	relies  func(Option) bool // or when the option relies on this
}

var (
	changed = []Disposition{Release, Rework, Reprocess, Divert}
	worked  = []Disposition{Rework, Reprocess, Divert, Destroy}
)

// seats are who signs what, in the order in which they do (design notes on the
// procedure, §6, and the least signers of each level, §3). Who retrieves signs at
// every level.
var seats = []seat{
	{of: changed, role: QALead, deed: Proposed, meaning: "proposes the disposition of the stated quantity", from: 1},
	{of: changed, role: ProcessAuthority, deed: Reported, meaning: "has evaluated what the product received", from: 1,
		when: underSchedule, relies: onAuthority},
	{of: []Disposition{Destroy, Retrieve}, role: ProcessAuthority, deed: Reported, meaning: "has evaluated what the product received", from: 5, when: underSchedule},
	{of: changed, role: QualifiedPerson, deed: Approved, meaning: "approves the disposition of the stated quantity on the evidence attached", from: 1},
	{of: []Disposition{Destroy, Retrieve}, role: QALead, deed: Approved, meaning: "decides it for the stated quantity", from: 1},
	{of: []Disposition{Retrieve}, role: PlantManager, deed: Approved, meaning: "decides it for the plant", from: 1},
	{of: []Disposition{Release, Rework, Reprocess, Divert, Destroy}, role: PlantManager, deed: Approved, meaning: "approves the disposition for the plant", from: 4},
	{of: []Disposition{Retrieve}, role: RegulatoryLiaison, deed: Judged, meaning: "has judged what must be reported, and to whom", from: 1},
	{of: []Disposition{Release, Rework, Reprocess, Divert, Destroy}, role: RegulatoryLiaison, deed: Judged, meaning: "has judged what must be reported, and to whom", from: 4},
	{of: worked, role: LineSupervisor, deed: Executed, meaning: "has carried it out, with the quantity", from: 1},
	{of: []Disposition{Destroy}, role: Verifier, deed: Witnessed, meaning: "has seen the stated quantity destroyed", from: 1},
	{of: []Disposition{Release, Rework, Reprocess, Divert, Retrieve}, role: Verifier, deed: Verified, meaning: "has checked the decision and that it was carried out", from: 1},
}

func underSchedule(f Facts) bool { return f.under(scheduled) }

// onAuthority says whether the option rests on a processing authority's report.
func onAuthority(o Option) bool {
	return slices.ContainsFunc(o.Needs, func(n Need) bool { return slices.Contains(n.OneOf, AuthorityReport) })
}

// signers lists who signs for an option.
func signers(o Option, f Facts) []Signature {
	var out []Signature
	for _, s := range seats {
		asked := s.when == nil || s.when(f) || s.relies != nil && s.relies(o) && slices.Contains(f.Evidence, AuthorityReport)
		if slices.Contains(s.of, o.Disposition) && f.Level >= s.from && asked {
			out = append(out, Signature{s.role, s.deed, s.meaning})
		}
	}
	return out
}
