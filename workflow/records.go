package workflow

import (
	"cmp"
	"context"
	"encoding/hex"
	"fmt"
	"slices"

	"lastgood/policy/disposition"
	"lastgood/policy/limit"
	"lastgood/policy/unit"
	"lastgood/workflow/decision"
	"lastgood/workflow/lot"
	"lastgood/workflow/pg"
	"lastgood/workflow/signoff"
	"lastgood/workflow/trail"
)

// refresh brings what was decided up to what is known now. A proposal that is
// allowed as before keeps its signatures if nothing of it changed, and is to be
// signed again if something did; one that is not allowed any more is withdrawn,
// or overtaken where it was carried out: then what is still in control is held
// again.
func refresh(ctx context.Context, tx *pg.Tx, d *Deviation, why string) error {
	if err := nameShipped(ctx, tx, *d); err != nil {
		return err
	}
	c, err := docketOf(ctx, tx, *d)
	if err != nil {
		return err
	}
	var ended []decision.Decision
	for _, dec := range c.decided {
		if !dec.Standing() {
			continue
		}
		stands, err := c.refreshOne(ctx, tx, dec, why)
		if err != nil {
			return err
		}
		if !stands {
			ended = append(ended, dec)
		}
	}
	if ended != nil { // what it had let go may have left since
		if err := nameShipped(ctx, tx, *d); err != nil {
			return err
		}
		if c, err = docketOf(ctx, tx, *d); err != nil {
			return err
		}
	}
	if err := c.holdAgain(ctx, tx, ended); err != nil {
		return err
	}
	for _, draft := range c.unaccounted() {
		if _, err := signoff.Put(ctx, tx, draft); err != nil {
			return err
		}
	}
	return nil
}

// refreshOne brings one disposition up to what is known, and says whether it still
// stands.
func (c *docket) refreshOne(ctx context.Context, tx *pg.Tx, dec decision.Decision, why string) (bool, error) {
	p := c.portion(dec.Portion)
	o, ok := c.option(p, dec.Kind)
	gone := dec.State == decision.Executed && lot.Ended(p.State) // cannot be undone: it is signed again for what is known now, or stands in the way
	if (!ok || !o.Allowed) && !gone {
		return false, c.endDecision(ctx, tx, dec, p, cmp.Or(o.Why, "the last run does not doubt the lot"))
	}
	if _, err := signoff.Put(ctx, tx, c.dispositionDraft(dec, p, o, why)); err != nil {
		return true, err
	}
	if dec.State != decision.Executed {
		return true, nil
	}
	_, err := signoff.Put(ctx, tx, c.executionDraft(dec, p, o, why))
	return true, err
}

// endDecision ends a disposition that is not allowed any more.
func (c *docket) endDecision(ctx context.Context, tx *pg.Tx, dec decision.Decision, p lot.Portion, why string) error {
	to := decision.Withdrawn
	if len(c.doneOf(dec.ID)) > 0 {
		to = decision.Overtaken
	}
	if err := decision.Move(ctx, tx, dec.ID, to, why); err != nil {
		return err
	}
	if err := undecide(ctx, tx, p); err != nil {
		return err
	}
	return trail.Append(ctx, tx, trail.Entry{Stream: c.d.stream(), Action: "disposition." + string(to), Subject: portionName(p), Version: dec.Version + 1,
		Before: dec.Kind, Reason: why})
}

// portion returns a portion of a lot in doubt.
func (c *docket) portion(id lot.PortionID) lot.Portion {
	i := slices.IndexFunc(c.portions, func(p lot.Portion) bool { return p.ID == id })
	return c.portions[i]
}

func (c *docket) doneOf(id decision.ID) []decision.Done {
	var out []decision.Done
	for _, e := range slices.Concat(c.done, c.theirs) {
		if e.Disposition == id {
			out = append(out, e)
		}
	}
	return out
}

// evidenceOf returns what is attached to a portion, or to all of its lot.
func (c *docket) evidenceOf(p lot.Portion) []decision.Evidence {
	var out []decision.Evidence
	for _, e := range c.evidence {
		if e.Lot == p.Lot && (e.Portion == nil || *e.Portion == p.ID) {
			out = append(out, e)
		}
	}
	return out
}

// dispositionFacts is what the table of what is allowed looks at.
func (c *docket) dispositionFacts(p lot.Portion) (limit.Verdict, disposition.Facts) {
	f := c.finding(p.Lot)
	v := f.Verdict
	facts := disposition.Facts{MissedAsRecorded: f.MissedAsRecorded, Where: whereabouts(p), Level: f.Level, Regimes: c.policy.Regimes,
		Evidence: f.cleared(), Tests: c.tests[p.ID]}
	for _, e := range c.evidenceOf(p) {
		facts.Evidence = append(facts.Evidence, e.Kind)
	}
	if decided := c.testsDecided(p); decided {
		facts.Evidence = append(facts.Evidence, disposition.TestResults)
	}
	slices.Sort(facts.Evidence)
	facts.Evidence = slices.Compact(facts.Evidence)
	if v != limit.Met {
		facts.Toxin = slices.ContainsFunc(f.hazards, c.policy.MayBeToxin)
		facts.OthersInDoubt = len(c.portionsOf(p.Lot)) > 1
	}
	return v, facts
}

func (c *docket) portionsOf(id lot.ID) []lot.Portion {
	var out []lot.Portion
	for _, p := range c.portions {
		if p.Lot == id {
			out = append(out, p)
		}
	}
	return out
}

// options returns what may become of a portion; none of a lot that the last run
// does not doubt.
func (c *docket) options(p lot.Portion) []disposition.Option {
	v, f := c.dispositionFacts(p)
	if v == "" {
		return nil
	}
	return disposition.Allowed(v, f)
}

func (c *docket) option(p lot.Portion, kind disposition.Disposition) (disposition.Option, bool) {
	list := c.options(p)
	i := slices.IndexFunc(list, func(o disposition.Option) bool { return o.Disposition == kind })
	if i < 0 {
		return disposition.Option{}, false
	}
	return list[i], true
}

// signedDisposition is what people sign of a disposition: all that it rests on,
// and nothing that may change without changing the decision.
type signedDisposition struct {
	Lot              string                  `json:"lot"`
	Portion          signedPortion           `json:"portion"`
	Quantity         *signedQuantity         `json:"quantity"`
	Verdict          limit.Verdict           `json:"verdict"`
	MissedAsRecorded bool                    `json:"missed_as_recorded"`
	Limits           []signedLimit           `json:"limits"`
	Disposition      disposition.Disposition `json:"disposition"`
	Reason           string                  `json:"reason"`
	Receiver         string                  `json:"receiver,omitzero"`
	IntoLot          string                  `json:"into_lot,omitzero"`
	Because          string                  `json:"because,omitzero"`
	Evidence         []signedEvidence        `json:"evidence"`
	Tests            []signedTest            `json:"tests,omitempty"`
	Caution          string                  `json:"caution"`
}

type signedPortion struct {
	Label    string `json:"label"` // empty: what no other portion names
	Place    string `json:"place"`
	Pallet   string `json:"pallet,omitzero"`
	Tag      string `json:"tag,omitzero"`
	From     string `json:"made_from,omitzero"`
	Until    string `json:"made_until,omitzero"`
	Shipment string `json:"shipment,omitzero"`
}

type signedQuantity struct {
	Amount string `json:"amount"`
	Unit   string `json:"unit"`
}

type signedLimit struct {
	Lot              string        `json:"lot"`
	Limit            string        `json:"limit"`
	Verdict          limit.Verdict `json:"verdict"`
	MissedAsRecorded bool          `json:"missed_as_recorded"`
	ClearedBy        []string      `json:"cleared_by,omitempty"`
	KillStep         string        `json:"kill_step,omitzero"`
}

type signedEvidence struct {
	Kind   disposition.Evidence `json:"kind"`
	Name   string               `json:"name"`
	SHA256 string               `json:"sha256,omitzero"`
	Note   string               `json:"note,omitzero"`
	By     string               `json:"by"`
}

type signedTest struct {
	Decision  string `json:"decision"`
	LimitedTo string `json:"limited_to,omitzero"`
	Reason    string `json:"reason"`
}

// caution stands in everything that is signed.
const caution = "The figures show whether the limit was met after correction. Local regulation and a qualified person decide."

func (c *docket) dispositionDraft(dec decision.Decision, p lot.Portion, o disposition.Option, why string) signoff.Draft {
	f := c.finding(p.Lot)
	w := signedDisposition{Lot: p.LotCode, Portion: signedOf(p), Quantity: quantityOf(c.quantity(p)), Verdict: f.Verdict, MissedAsRecorded: f.MissedAsRecorded,
		Limits: []signedLimit{}, Disposition: dec.Kind, Reason: dec.Reason, Receiver: dec.Receiver, IntoLot: dec.IntoLot, Because: dec.Because,
		Evidence: []signedEvidence{}, Caution: caution}
	for _, l := range f.Limits {
		w.Limits = append(w.Limits, signedLimit{l.Lot, l.Limit, l.Verdict, l.MissedAsRecorded, l.ClearedBy, l.KillStep})
	}
	for _, e := range c.evidenceOf(p) {
		w.Evidence = append(w.Evidence, signedEvidence{e.Kind, e.Name, hex.EncodeToString(e.Digest), e.Note, e.By})
	}
	for _, t := range c.tests[p.ID] {
		w.Tests = append(w.Tests, signedTest{string(t.Decision), t.LimitedTo, t.Reason})
	}
	return signoff.Draft{Kind: signoff.Disposition, ID: int64(dec.ID), Deviation: int64(c.d.ID), Stream: c.d.stream(), Subjects: []string{portionName(p)},
		Disposition: dec.Kind, What: w, Seats: c.seats(dec, f, o), Run: c.run, Policy: c.policy.version, Reason: why}
}

func signedOf(p lot.Portion) signedPortion {
	s := signedPortion{Label: p.Label, Place: string(p.Place), Pallet: orEmpty(p.Pallet), Tag: orEmpty(p.Tag), Shipment: orEmpty(p.Shipment)}
	if p.From != nil {
		s.From = p.From.UTC().Format("2006-01-02T15:04:05.999999Z07:00")
	}
	if p.Until != nil {
		s.Until = p.Until.UTC().Format("2006-01-02T15:04:05.999999Z07:00")
	}
	return s
}

func quantityOf(q *unit.Quantity) *signedQuantity {
	if q == nil {
		return nil
	}
	return &signedQuantity{q.Amount, q.Unit}
}

// portionName names a portion for people and for who may not sign twice.
func portionName(p lot.Portion) string {
	if p.Label == "" {
		return p.LotCode
	}
	return p.LotCode + " / " + p.Label
}

// seats are who signs a disposition before it is carried out: those that the
// table asks for, and those that the site's rules ask for besides. Once it is
// begun that is settled: levels follow product that has left since.
func (c *docket) seats(dec decision.Decision, f Finding, o disposition.Option) []signoff.Seat {
	if rec, ok := c.record(signoff.Disposition, int64(dec.ID)); ok && len(c.doneOf(dec.ID)) > 0 {
		return rec.Seats
	}
	var out []signoff.Seat
	for _, s := range o.Signers {
		if before(s.Deed) {
			out = append(out, signoff.Seat{Role: s.Role, Deed: s.Deed, Meaning: s.Meaning})
		}
	}
	for _, s := range f.signers {
		role := disposition.Role(s.Role)
		if slices.ContainsFunc(out, func(o signoff.Seat) bool { return o.Role == role }) {
			continue
		}
		out = append(out, signoff.Seat{Role: role, Deed: deedOf(role), Meaning: s.Meaning})
	}
	return out
}

// before says whether a deed comes before a disposition is carried out.
func before(d disposition.Deed) bool {
	return slices.Contains([]disposition.Deed{disposition.Proposed, disposition.Reported, disposition.Approved, disposition.Judged}, d)
}

// deedOf is what a signer whom the site's rules ask for does.
func deedOf(r disposition.Role) disposition.Deed {
	switch r {
	case disposition.QALead:
		return disposition.Proposed
	case disposition.PlantManager, disposition.QualifiedPerson:
		return disposition.Approved
	case disposition.RegulatoryLiaison:
		return disposition.Judged
	case disposition.ProcessAuthority:
		return disposition.Reported
	}
	return disposition.Verified
}

// signedExecution is what people sign of what was carried out.
type signedExecution struct {
	Lot         string                  `json:"lot"`
	Portion     signedPortion           `json:"portion"`
	Disposition disposition.Disposition `json:"disposition"`
	Decided     *signedQuantity         `json:"decided"`
	Reports     []signedReport          `json:"reports"`
	Caution     string                  `json:"caution"`
}

type signedReport struct {
	Fate     string         `json:"fate"`
	Quantity signedQuantity `json:"quantity"`
	At       string         `json:"at"`
	Place    string         `json:"place,omitzero"`
	Tag      string         `json:"tag,omitzero"`
	Reason   string         `json:"reason,omitzero"`
	By       string         `json:"reported_by"`
}

func (c *docket) executionDraft(dec decision.Decision, p lot.Portion, o disposition.Option, why string) signoff.Draft {
	w := signedExecution{Lot: p.LotCode, Portion: signedOf(p), Disposition: dec.Kind, Decided: quantityOf(c.quantity(p)), Reports: []signedReport{}, Caution: caution}
	for _, e := range c.doneOf(dec.ID) {
		w.Reports = append(w.Reports, signedReport{e.Fate, signedQuantity{e.Amount, e.Unit}, e.At.UTC().Format("2006-01-02T15:04:05.999999Z07:00"), e.Place, e.Tag, e.Reason, e.By})
	}
	return signoff.Draft{Kind: signoff.Execution, ID: int64(dec.ID), Deviation: int64(c.d.ID), Stream: c.d.stream(), Subjects: []string{portionName(p)},
		Disposition: dec.Kind, What: w, Seats: c.executionSeats(dec, o), Run: c.run, Policy: c.policy.version, Reason: why}
}

// executionSeats are who signs that a disposition was carried out: settled once it
// was.
func (c *docket) executionSeats(dec decision.Decision, o disposition.Option) []signoff.Seat {
	if rec, ok := c.record(signoff.Execution, int64(dec.ID)); ok {
		return rec.Seats
	}
	var out []signoff.Seat
	for _, s := range o.Signers {
		if !before(s.Deed) {
			out = append(out, signoff.Seat{Role: s.Role, Deed: s.Deed, Meaning: s.Meaning})
		}
	}
	return out
}

// nameShipped names a portion for each shipment of product in doubt, so that it
// can be decided on.
func nameShipped(ctx context.Context, tx *pg.Tx, d Deviation) error {
	c, err := docketOf(ctx, tx, d)
	if err != nil {
		return err
	}
	for _, f := range c.findings {
		for _, o := range c.amounts[f.LotID].shipped {
			label := "shipment " + o.Ref
			if slices.ContainsFunc(c.portions, func(p lot.Portion) bool { return p.Lot == f.LotID && p.Label == label }) {
				continue
			}
			ref := o.Ref
			p := lot.Portion{Lot: f.LotID, LotCode: f.Lot, Label: label, State: "free", Place: lot.OnTheRoad, Quantity: o.Quantity, Unit: o.Unit, Shipment: &ref}
			if _, err := lot.AddPortion(ctx, tx, p); err != nil {
				return fmt.Errorf("shipped: %w", err)
			}
		}
	}
	return nil
}
