package api

import (
	"context"
	"net/http"

	"github.com/danielgtaylor/huma/v2"
	"github.com/go-json-experiment/json/jsontext"

	"lastgood/api/exchange"
	"lastgood/policy/unit"
	"lastgood/workflow"
	"lastgood/workflow/fault"
	"lastgood/workflow/instrument"
	"lastgood/workflow/key"
	"lastgood/workflow/pg"
)

// CheckFact is one accuracy check as it was done. Its verdict is computed, never
// sent.
type CheckFact struct {
	Instrument  string           `json:"instrument" maxLength:"100"`
	PerformedAt Moment           `json:"performed_at"`
	PerformedBy string           `json:"performed_by,omitzero" maxLength:"100"`
	VerifiedBy  string           `json:"verified_by,omitzero" maxLength:"100"`
	Outcome     string           `json:"outcome,omitzero" enum:"unusable" doc:"There is no as-found value"`
	Confirmed   *bool            `json:"confirmed,omitzero" doc:"Somebody looked again at an error of over ten tolerances"`
	Points      []CheckPointFact `json:"points,omitzero"`
}

// CheckPointFact is one point of a check, all temperatures in unit.
type CheckPointFact struct {
	Point                string      `json:"point" enum:"ice,boiling,comparison"`
	Unit                 string      `json:"unit" enum:"C,F,K,CEL,FAH,KEL"`
	Nominal              *Degrees    `json:"nominal,omitzero"`
	Reference            string      `json:"reference,omitzero" maxLength:"100"`
	ReferenceReading     *Degrees    `json:"reference_reading,omitzero"`
	ReferenceUncertainty *Degrees    `json:"reference_uncertainty,omitzero" doc:"Expanded, k = 2"`
	PressureKPa          *Kilopascal `json:"pressure_kpa,omitzero"`
	Found                *Degrees    `json:"found,omitzero"`
	Left                 *Degrees    `json:"left,omitzero" doc:"Left out: not adjusted"`
	Repeats              *int        `json:"repeats,omitzero" minimum:"2" maximum:"1000" doc:"How often found was read; it is then their mean"`
	Spread               *Degrees    `json:"spread,omitzero" doc:"Experimental standard deviation of the repeats, a difference in unit"`
}

// Kilopascal is a station pressure.
type Kilopascal float64

// Schema documents what is taken: a number, or its digits as a string.
func (Kilopascal) Schema(huma.Registry) *huma.Schema { return numberOrDigits("kPa") }

// CheckBody is a recorded check with what was made of it.
type CheckBody struct {
	ID int64 `json:"id"`
	CheckFact
	Found         string        `json:"found_verdict" enum:"pass,fail,inconclusive"`
	Left          string        `json:"left_verdict" enum:"pass,fail,inconclusive"`
	LeftUnknown   bool          `json:"left_unknown" doc:"Adjusted then, and nobody wrote down how it was left"`
	Tolerance     Degrees       `json:"tolerance"`
	ToleranceUnit string        `json:"tolerance_unit"`
	Judged        []JudgedPoint `json:"judged" doc:"One for each point"`
	PolicyVersion int           `json:"policy_version"`
	RecordedAt    Moment        `json:"recorded_at"`
}

// JudgedPoint is what a point was judged with. Errors in K.
type JudgedPoint struct {
	True        Degrees  `json:"true_temperature" doc:"In the unit of the point"`
	Basis       string   `json:"basis" doc:"How it was found"`
	Uncertainty float64  `json:"standard_uncertainty"`
	FoundError  *float64 `json:"found_error"`
	LeftError   *float64 `json:"left_error" doc:"null: not adjusted"`
}

// CheckedBody is a check and the deviations that it opened or lies in.
type CheckedBody struct {
	Check      CheckBody     `json:"check"`
	Unchanged  bool          `json:"unchanged" doc:"It was recorded before"`
	Deviations []DoubtedBody `json:"deviations"`
	Cascades   []int64       `json:"cascades" doc:"What was checked against it is held and waits: look at each, and let somebody else confirm it"`
}

// CheckPreview is what recording a check would do.
type CheckPreview struct {
	Found      string          `json:"found_verdict" enum:"pass,fail,inconclusive"`
	Left       string          `json:"left_verdict" enum:"pass,fail,inconclusive"`
	Judged     []JudgedPoint   `json:"judged" doc:"One for each point"`
	Unchanged  bool            `json:"unchanged" doc:"It is recorded already"`
	Deviations []ForeseenDoubt `json:"deviations" doc:"That would open, or that it would join"`
	Cascades   []CascadeTree   `json:"cascades" doc:"That would wait for a second person, with everything on them held"`
}

// ForeseenDoubt is a deviation as recording a check would leave it.
type ForeseenDoubt struct {
	ID         *int64                `json:"id" doc:"null: it would open"`
	Instrument string                `json:"instrument"`
	FailedAt   string                `json:"failed_at"`
	Window     exchange.WindowResult `json:"window"`
	Error      DoubtedError          `json:"error"`
	Lots       []ForeseenHold        `json:"lots" doc:"That would be held, or are"`
	Caution    string                `json:"caution"`
}

// ForeseenHold is a lot that would be held.
type ForeseenHold struct {
	Lot          string  `json:"lot"`
	BecauseOf    string  `json:"because_of"`
	Quantity     *string `json:"quantity" doc:"null: nobody knows how much is left"`
	QuantityUnit *string `json:"quantity_unit"`
	Location     *string `json:"location"`
}

// DoubtedBody is a deviation as containment left it, before or after its trace.
type DoubtedBody struct {
	ID         int64                 `json:"id"`
	Version    int                   `json:"version"`
	Instrument string                `json:"instrument"`
	State      string                `json:"state"`
	Opened     bool                  `json:"opened" doc:"By this check"`
	FailedAt   string                `json:"failed_at"`
	Window     exchange.WindowResult `json:"window"`
	Error      DoubtedError          `json:"error"`
	Holds      []HoldBody            `json:"holds"`
	Caution    string                `json:"caution"`
}

// DoubtedError is what the check that opened the deviation found.
type DoubtedError struct {
	Points []exchange.ErrorPoint `json:"points"`
	Unit   string                `json:"unit" enum:"K"`
}

func (s *server) registerChecks(api huma.API) {
	registerDecoded[CheckFact](api, huma.Operation{OperationID: "record-check", Method: http.MethodPost, Path: "/v1/checks",
		Summary: "Record a check; one that does not clearly pass opens a deviation, and both come back with the holds", Security: needs(key.ChecksWrite),
		DefaultStatus: http.StatusCreated, MaxBodyBytes: s.MaxBody}, handle(s, s.recordCheck))
	registerDecoded[CheckFact](api, huma.Operation{OperationID: "preview-check", Method: http.MethodPost, Path: "/v1/checks/preview",
		Summary:  "What recording a check would do: deviations, windows, lots, and the tree below a reference; nothing is written",
		Security: needs(key.ChecksWrite), MaxBodyBytes: s.MaxBody}, handle(s, s.previewCheck))
	registerList(s, api, "checks", "Checks", s.listChecks)
	huma.Register(api, huma.Operation{OperationID: "get-check", Method: http.MethodGet, Path: "/v1/checks/{id}",
		Summary: "A check, and the deviations that it opened or lies in", Security: needs(key.FactsRead)}, handle(s, s.getCheck))
	registerDecoded[HappeningsFact](api, huma.Operation{OperationID: "record-happenings", Method: http.MethodPost, Path: "/v1/happenings",
		Summary: "Record events and checks together, for imports: all or none", Security: needs(key.ChecksWrite),
		DefaultStatus: http.StatusCreated, MaxBodyBytes: s.MaxBody}, handle(s, s.recordHappenings))
}

type checkedAnswer struct{ Body CheckedBody }

func (s *server) recordCheck(ctx context.Context, in *FactsIn) (*checkedAnswer, error) {
	check, err := in.check()
	if err != nil {
		return nil, err
	}
	c, err := s.svc.RecordCheck(ctx, scope(ctx, in.IdempotencyKey), check)
	if rows, ok := err.(fault.Rows); ok {
		return nil, oneRefused(rows)
	}
	if err != nil {
		return nil, err
	}
	return &checkedAnswer{checkedBody(c)}, nil
}

func (s *server) previewCheck(ctx context.Context, in *FactsIn) (*struct{ Body CheckPreview }, error) {
	check, err := in.check()
	if err != nil {
		return nil, err
	}
	f, err := s.svc.PreviewCheck(ctx, scope(ctx, ""), check)
	if rows, ok := err.(fault.Rows); ok {
		return nil, oneRefused(rows)
	}
	if err != nil {
		return nil, err
	}
	return &struct{ Body CheckPreview }{checkPreview(f)}, nil
}

// check returns the one check of a request.
func (in *FactsIn) check() (c instrument.Check, err error) {
	text, err := in.text()
	if err != nil {
		return c, err
	}
	var item jsontext.Value
	if err := unmarshal(text, &item); err != nil {
		return c, err
	}
	list, bad := exchange.Checks([]jsontext.Value{item})
	if len(bad) > 0 {
		return c, oneRefused(bad)
	}
	return list[0], nil
}

// oneRefused is what is wrong with the only row there is.
func oneRefused(bad fault.Rows) error {
	status := statuses[bad[0].Kind]
	p := newProblem(status, bad[0].Rule, bad[0].Detail)
	for _, r := range bad {
		at := "body"
		if r.Part > 0 {
			at += ".points[" + number(int64(r.Part)) + "]"
		}
		if r.Field != "" {
			at += "." + r.Field
		}
		p.Errors = append(p.Errors, Fault{Location: at, Rule: r.Rule, Detail: r.Detail})
	}
	return p
}

func (s *server) listChecks(ctx context.Context, sc pg.Scope, in OfInstrument, limit int) ([]placed[CheckBody], error) {
	after, err := in.afterNumber()
	if err != nil {
		return nil, err
	}
	list, err := s.svc.Checks(ctx, sc, in.of(), after, limit)
	var out []placed[CheckBody]
	for _, d := range list {
		out = append(out, placed[CheckBody]{number(d.ID), checkBody(d)})
	}
	return out, err
}

// CheckPath names a check.
type CheckPath struct {
	ID int64 `path:"id" minimum:"1"`
}

func (s *server) getCheck(ctx context.Context, in *CheckPath) (*checkedAnswer, error) {
	c, err := s.svc.Check(ctx, scope(ctx, ""), in.ID)
	if err != nil {
		return nil, err
	}
	return &checkedAnswer{checkedBody(c)}, nil
}

func checkBody(d instrument.Done) CheckBody {
	c := d.Check
	b := CheckBody{ID: d.ID, CheckFact: CheckFact{Instrument: c.Instrument, PerformedAt: moment(c.PerformedAt), PerformedBy: c.PerformedBy,
		VerifiedBy: c.VerifiedBy, Points: []CheckPointFact{}}, Found: string(d.Found), Left: string(d.Left), LeftUnknown: d.LeftUnknown,
		Tolerance: Degrees(d.Instrument.Tolerance), ToleranceUnit: d.Instrument.Unit, Judged: []JudgedPoint{},
		PolicyVersion: d.PolicyVersion, RecordedAt: moment(d.RecordedAt)}
	if c.Unusable {
		b.Outcome = "unusable"
	}
	if c.Confirmed {
		b.Confirmed = &c.Confirmed
	}
	for i, p := range c.Points {
		b.Points = append(b.Points, CheckPointFact{Point: string(p.Kind), Unit: p.Unit.String(), Nominal: exact(p.Nominal), Reference: p.Reference,
			ReferenceReading: exact(p.ReferenceReading), ReferenceUncertainty: exact(p.ReferenceUncertainty),
			PressureKPa: (*Kilopascal)(p.PressureKPa), Found: exact(p.Found), Left: exact(p.Left),
			Repeats: p.Repeats, Spread: exact(p.Spread)})
		j := d.Points[i]
		b.Judged = append(b.Judged, JudgedPoint{Degrees(j.True), j.Basis, float64(j.U), kelvin(j.Found), kelvin(j.Left)})
	}
	return b
}

func kelvin(d *unit.CelsiusDiff) *float64 { return (*float64)(d) }

func checkedBody(c workflow.Checked) CheckedBody {
	b := CheckedBody{Check: checkBody(c.Done), Unchanged: c.Unchanged, Deviations: []DoubtedBody{}, Cascades: []int64{}}
	for _, id := range c.Cascades {
		b.Cascades = append(b.Cascades, int64(id))
	}
	for _, d := range c.Deviations {
		v := DoubtedBody{ID: int64(d.Deviation.ID), Version: d.Deviation.Version, Instrument: d.Instrument, State: string(d.Deviation.State),
			Opened: d.Opened, FailedAt: clock(d.Deviation.FailedAt), Window: exchange.WindowResult{After: clockOr(d.After), Until: clockOr(d.Until)},
			Error: doubtedError(d), Holds: []HoldBody{}, Caution: exchange.Caution}
		for _, h := range d.Holds {
			v.Holds = append(v.Holds, holdBody(h))
		}
		b.Deviations = append(b.Deviations, v)
	}
	return b
}

func doubtedError(d workflow.Doubted) DoubtedError {
	e := DoubtedError{[]exchange.ErrorPoint{}, "K"}
	for _, p := range d.Points {
		e.Points = append(e.Points, exchange.ErrorPoint(p))
	}
	return e
}

func checkPreview(f workflow.CheckForeseen) CheckPreview {
	check := checkBody(f.Done)
	b := CheckPreview{Found: check.Found, Left: check.Left, Judged: check.Judged, Unchanged: f.Unchanged,
		Deviations: []ForeseenDoubt{}, Cascades: []CascadeTree{}}
	for _, d := range f.Deviations {
		v := ForeseenDoubt{Instrument: d.Instrument, FailedAt: clock(d.Deviation.FailedAt),
			Window: exchange.WindowResult{After: clockOr(d.After), Until: clockOr(d.Until)},
			Error:  doubtedError(d), Lots: []ForeseenHold{}, Caution: exchange.Caution}
		if id := int64(d.Deviation.ID); !d.Opened {
			v.ID = &id
		}
		for _, h := range d.Holds {
			v.Lots = append(v.Lots, ForeseenHold{h.LotCode, h.BecauseOf, h.Quantity, h.Unit, h.Location})
		}
		b.Deviations = append(b.Deviations, v)
	}
	for _, c := range f.Cascades {
		b.Cascades = append(b.Cascades, cascadeTree(c))
	}
	return b
}
