package api

import (
	"time"

	"github.com/go-json-experiment/json/jsontext"

	"lastgood/workflow"
	"lastgood/workflow/recall"
)

// RecallBody is a recall as it stands.
type RecallBody struct {
	ID           *int64             `json:"id" doc:"null: nobody has drawn up a pack"`
	Deviation    int64              `json:"deviation"`
	State        string             `json:"state" enum:"not_needed,deciding,decided,decided_not,notified,retrieving,effectiveness_checking,termination_requested,terminated"`
	Pack         RecallPackBody     `json:"pack"`
	DecidedAt    *string            `json:"decided_at" doc:"First"`
	AgencyClass  *RecallLetterBody  `json:"agency_class" doc:"As told by the agency; null: it has not said"`
	Letters      []RecallLetterBody `json:"letters"`
	Texts        []RecallTextBody   `json:"texts"`
	Ledger       []ConsignmentBody  `json:"ledger"`
	ToNotify     []string           `json:"to_notify" doc:"Not told, or failed a check since"`
	Sample       *DrawnBody         `json:"sample" doc:"null: none was drawn"`
	Unchecked    []string           `json:"unchecked" doc:"In the sample, and not passed since they were last told"`
	Reports      []RecallStatusBody `json:"status_reports"`
	NextReport   *string            `json:"next_status_report" doc:"Until when; null: none is due"`
	NotYetEnding []string           `json:"missing_for_termination"`
	Todo         string             `json:"to_do" doc:"What is to be done next, and by whom"`
}

// RecallPackBody is what people write of a recall.
type RecallPackBody struct {
	Retrieve  bool              `json:"retrieve" doc:"false: it is decided not to"`
	Reason    string            `json:"reason" maxLength:"4000"`
	Kind      string            `json:"kind,omitempty" enum:"recall,market_withdrawal,stock_recovery"`
	Depth     string            `json:"depth,omitempty" enum:"consumer,retail,wholesale"`
	Warning   string            `json:"public_warning,omitempty" enum:"none,specialized,general"`
	Discovery string            `json:"discovery,omitempty" maxLength:"4000"`
	Hazard    *RecallHazardBody `json:"hazard_evaluation,omitempty"`
	Level     string            `json:"effectiveness_level,omitempty" enum:"A,B,C,D,E"`
	Share     int               `json:"effectiveness_share,omitempty" minimum:"0" maximum:"99" doc:"Of level B, in a hundred"`
	Own       []string          `json:"own_consignees,omitempty" maxItems:"1000" doc:"Consignees that are the firm itself"`
	Rationale string            `json:"rationale,omitempty" maxLength:"4000"`
	Contact   string            `json:"contact,omitempty" maxLength:"1000"`
	Text      string            `json:"text,omitempty" maxLength:"100000" doc:"What consignees are told"`
}

// RecallHazardBody is the firm's own evaluation, under the heads that the agency weighs.
type RecallHazardBody struct {
	Illness      string `json:"illness" maxLength:"4000"`
	Conditions   string `json:"conditions" maxLength:"4000"`
	Groups       string `json:"groups" maxLength:"4000"`
	Seriousness  string `json:"seriousness" maxLength:"4000"`
	Likelihood   string `json:"likelihood" maxLength:"4000"`
	Consequences string `json:"consequences" maxLength:"4000"`
}

// RecallLetterBody is a letter of the agency, or to it.
type RecallLetterBody struct {
	Kind      string `json:"kind" enum:"class,termination_request,termination"`
	Says      string `json:"says,omitempty"`
	Reference string `json:"reference"`
	At        string `json:"at"`
	SHA256    []byte `json:"text_sha256,omitempty"`
}

// RecallTextBody is a version of what consignees are told.
type RecallTextBody struct {
	Version   int    `json:"version"`
	SHA256    []byte `json:"sha256"`
	WrittenAt string `json:"written_at"`
	WrittenBy string `json:"written_by"`
}

// ConsignmentBody is one line of the ledger.
type ConsignmentBody struct {
	Consignee     string    `json:"consignee" doc:"Empty: no record says"`
	Shipment      string    `json:"shipment"`
	Lot           string    `json:"lot"`
	Verdict       string    `json:"verdict"`
	Quantity      *string   `json:"quantity"`
	Unit          *string   `json:"quantity_unit"`
	ShippedAt     string    `json:"shipped_at"`
	ToldAt        *string   `json:"told_at" doc:"Last; null: not yet"`
	ToldBy        *string   `json:"told_by"`
	Method        *string   `json:"method"`
	TextVersion   *int      `json:"text_version"`
	ToNotify      bool      `json:"to_notify"`
	Said          *SaidBody `json:"said" doc:"Their latest word"`
	InSample      bool      `json:"in_sample"`
	Passed        *bool     `json:"check_passed" doc:"The last check; null: none"`
	Disposition   *int64    `json:"disposition"`
	Is            *string   `json:"decided"`
	Retrieved     string    `json:"retrieved" doc:"Carried out"`
	Unrecoverable string    `json:"accounted_unrecoverable" doc:"Carried out"`
	Differences   []string  `json:"differences" doc:"Where their word and what was carried out differ"`
}

// SaidBody is what a consignee says has become of what they got.
type SaidBody struct {
	OnHand    string `json:"on_hand"`
	Returned  string `json:"returned"`
	Destroyed string `json:"destroyed"`
	SoldOn    string `json:"sold_on"`
	Person    string `json:"person"`
	At        string `json:"at"`
}

// DrawnBody is who is checked, and how they were drawn.
type DrawnBody struct {
	Level      string   `json:"level"`
	Share      string   `json:"share"`
	Seed       int64    `json:"seed"`
	Population []string `json:"population"`
	Drawn      []string `json:"drawn"`
	DrawnAt    string   `json:"drawn_at"`
	DrawnBy    string   `json:"drawn_by"`
}

// RecallStatusBody is a status report, as it was made.
type RecallStatusBody struct {
	Counts    jsontext.Value `json:"counts"`
	SentTo    string         `json:"sent_to"`
	Reference *string        `json:"reference"`
	At        string         `json:"at"`
	NextDays  int            `json:"next_in_days"`
}

func (b RecallPackBody) pack() workflow.RecallPack {
	p := workflow.RecallPack{Retrieve: b.Retrieve, Reason: b.Reason, Kind: b.Kind, Depth: b.Depth, Warning: b.Warning, Discovery: b.Discovery,
		Level: recall.Level(b.Level), Share: b.Share, Own: b.Own, Rationale: b.Rationale, Contact: b.Contact, Text: b.Text}
	if b.Hazard != nil {
		p.Hazard = workflow.HazardEvaluation(*b.Hazard)
	}
	return p
}

func packBody(p workflow.RecallPack) RecallPackBody {
	b := RecallPackBody{Retrieve: p.Retrieve, Reason: p.Reason, Kind: p.Kind, Depth: p.Depth, Warning: p.Warning, Discovery: p.Discovery,
		Level: string(p.Level), Share: p.Share, Own: p.Own, Rationale: p.Rationale, Contact: p.Contact, Text: p.Text}
	if p.Hazard != (workflow.HazardEvaluation{}) {
		h := RecallHazardBody(p.Hazard)
		b.Hazard = &h
	}
	return b
}

func recallBody(k workflow.RecallDesk) RecallBody {
	b := RecallBody{Deviation: k.Deviation, State: k.State, Pack: packBody(k.Pack), DecidedAt: clockOr(k.DecidedAt), Letters: []RecallLetterBody{},
		Texts: []RecallTextBody{}, Ledger: []ConsignmentBody{}, ToNotify: some(k.ToNotify), Unchecked: some(k.Unchecked), Reports: []RecallStatusBody{}, NotYetEnding: some(k.Missing), Todo: k.Todo}
	if k.ID != 0 {
		id := int64(k.ID)
		b.ID = &id
	}
	if k.NextDue != nil {
		due := k.NextDue.Format(time.RFC3339)
		b.NextReport = &due
	}
	if k.Class != nil {
		l := letterBody(*k.Class)
		b.AgencyClass = &l
	}
	for _, l := range k.Letters {
		b.Letters = append(b.Letters, letterBody(l))
	}
	for _, t := range k.Texts {
		b.Texts = append(b.Texts, RecallTextBody{t.Version, t.Digest, clock(t.WrittenAt), t.WrittenBy})
	}
	for _, c := range k.Ledger {
		b.Ledger = append(b.Ledger, consignmentBody(c))
	}
	if s := k.Sample; s != nil {
		b.Sample = &DrawnBody{string(s.Level), s.Share, s.Seed, some([]string(s.Population)), some([]string(s.Drawn)), clock(s.DrawnAt), s.DrawnBy}
	}
	for _, r := range k.Statuses {
		b.Reports = append(b.Reports, RecallStatusBody{r.Body, r.SentTo, orNull(r.Reference), clock(r.At), r.NextDays})
	}
	return b
}

func letterBody(l recall.Letter) RecallLetterBody {
	return RecallLetterBody{l.Kind, l.Says, l.Reference, clock(l.At), l.Digest}
}

func consignmentBody(c workflow.Consignment) ConsignmentBody {
	b := ConsignmentBody{Consignee: c.Consignee, Shipment: c.Shipment, Lot: c.Lot, Verdict: string(c.Verdict), Quantity: c.Quantity, Unit: c.Unit, ShippedAt: clock(c.ShippedAt),
		ToNotify: c.ToNotify, InSample: c.InSample, Is: orNull(c.Is), Retrieved: c.Retrieved, Unrecoverable: c.Unrecoverable, Differences: some(c.Differences)}
	if n := c.Notice; n != nil {
		b.ToldAt, b.ToldBy, b.Method, b.TextVersion = clockOr(&n.At), &n.Person, &n.Method, &n.Version
	}
	if r := c.Said; r != nil {
		b.Said = &SaidBody{r.OnHand, r.Returned, r.Destroyed, r.SoldOn, r.Person, clock(r.At)}
	}
	if c.Check != nil {
		b.Passed = &c.Check.Passed
	}
	if c.Disposition != 0 {
		id := int64(c.Disposition)
		b.Disposition = &id
	}
	return b
}
