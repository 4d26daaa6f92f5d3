package exchange

import (
	"time"

	"lastgood/policy/limit"
	"lastgood/policy/unit"
	"lastgood/workflow"
)

// Result is what assess prints with --json. Temperatures and differences are in
// °C and K whatever came in.
type Result struct {
	Caution    string            `json:"caution"`
	Plant      string            `json:"plant"`
	Deviations []DeviationResult `json:"deviations"`
}

// Caution stands on every report.
const Caution = "This supports a decision and does not make one: local regulation and a qualified person decide. " +
	"A limit met after correction says nothing of other hazards."

// DeviationResult is one deviation.
type DeviationResult struct {
	Instrument  string             `json:"instrument"`
	State       string             `json:"state"`
	OpenedBy    string             `json:"opened_by"`
	FailedAt    string             `json:"failed_at"`
	LastGoodAt  *string            `json:"last_good_at"`
	Window      WindowResult       `json:"window"`
	Error       ErrorResult        `json:"error"`
	Notes       []string           `json:"notes"`
	Readings    int64              `json:"readings"`
	Unmatched   int64              `json:"unmatched_readings"`
	Assessments []AssessmentResult `json:"assessments"`
	Holds       []HoldResult       `json:"holds"`
	Shipped     []ShippedResult    `json:"shipped"`
}

// WindowResult is the suspect window. A null after: no check was ever good and
// nobody knows since when the instrument is in service. A null until: it is
// still in use.
type WindowResult struct {
	After *string `json:"after"`
	Until *string `json:"until"`
}

// ErrorResult is what the failed check found.
type ErrorResult struct {
	Model  string       `json:"model"`
	Points []ErrorPoint `json:"points"`
	Unit   string       `json:"unit"`
}

// ErrorPoint is the error at one point: at is the indication [°C].
type ErrorPoint struct {
	At                  float64  `json:"at"`
	Reference           float64  `json:"reference"`
	Found               float64  `json:"found"`
	Left                *float64 `json:"left"`
	ExpandedUncertainty float64  `json:"expanded_uncertainty"`
	Basis               string   `json:"basis"`
}

// AssessmentResult is one lot under one limit.
type AssessmentResult struct {
	Lot              string         `json:"lot"`
	Limit            *string        `json:"limit"` // null: no limit applies
	LimitText        string         `json:"limit_text"`
	LimitUnit        string         `json:"limit_unit"` // the scale that the limit is written in
	Via              string         `json:"via"`
	Verdict          string         `json:"verdict"`
	MissedAsRecorded bool           `json:"missed_as_recorded"`
	Readings         int            `json:"readings"`
	Measure          MeasureResult  `json:"measure"`
	Rules            []RuleResult   `json:"other_rules"`
	Headroom         *float64       `json:"headroom"`
	WorstError       *float64       `json:"worst_error"`
	Probability      *float64       `json:"probability_missed"`
	CorroboratedBy   []string       `json:"corroborated_by"`
	Level            int            `json:"level"`
	LevelReason      string         `json:"level_reason"`
	Score            int            `json:"score"`
	Factors          []FactorResult `json:"factors"`
	Route            string         `json:"route"`
	RouteReason      string         `json:"route_reason"`
	Signers          []string       `json:"signers"`
	Reasons          []string       `json:"reasons"`
	Method           string         `json:"method"`
}

// MeasureResult is the number that the limit is about.
type MeasureResult struct {
	Name      string   `json:"name"`
	Unit      string   `json:"unit"`
	Required  *float64 `json:"required"`
	Recorded  *float64 `json:"recorded"`
	Corrected *float64 `json:"corrected"`
	Worst     *float64 `json:"worst"`
}

// RuleResult is the same by another published rule, which decides nothing.
type RuleResult struct {
	Rule      string   `json:"rule"`
	Recorded  *float64 `json:"recorded"`
	Corrected *float64 `json:"corrected"`
	Worst     *float64 `json:"worst"`
}

// FactorResult is one factor of the score.
type FactorResult struct {
	Name   string  `json:"name"`
	Value  float64 `json:"value"`
	Reason string  `json:"reason"`
}

// HoldResult is one held portion. Its verdict is the gravest of the lot that it
// is held because of; null where no reading of that lot is in doubt after all:
// holds are placed wide, and lifted by people.
type HoldResult struct {
	Lot          string  `json:"lot"`
	BecauseOf    string  `json:"because_of"`
	Verdict      *string `json:"verdict"`
	Quantity     *string `json:"quantity"`
	QuantityUnit *string `json:"quantity_unit"`
	Location     *string `json:"location"`
	Acknowledged bool    `json:"acknowledged"`
}

// ShippedResult is one shipment of a lot that a hold would have been placed on.
// Its verdict is as a hold's.
type ShippedResult struct {
	Lot          string  `json:"lot"`
	BecauseOf    string  `json:"because_of"`
	Verdict      *string `json:"verdict"`
	Shipment     string  `json:"shipment"`
	Consignee    string  `json:"consignee"`
	Quantity     *string `json:"quantity"`
	QuantityUnit *string `json:"quantity_unit"`
	ShippedAt    string  `json:"shipped_at"`
}

// NewResult puts reports into the exchange format, with times in the plant's
// zone.
func NewResult(plant string, zone *time.Location, reports []workflow.Report) Result {
	r := Result{Caution: Caution, Plant: plant, Deviations: []DeviationResult{}}
	for _, rep := range reports {
		r.Deviations = append(r.Deviations, newDeviation(rep, zone))
	}
	return r
}

// InDoubt says whether any lot is not shown to have met its limit.
func (r Result) InDoubt() bool {
	for _, d := range r.Deviations {
		for _, a := range d.Assessments {
			if a.Verdict != string(limit.Met) {
				return true
			}
		}
	}
	return false
}

func newDeviation(rep workflow.Report, zone *time.Location) DeviationResult {
	run := rep.Run
	d := DeviationResult{Instrument: run.Instrument, State: string(rep.Deviation.State), OpenedBy: run.OpenedBy, FailedAt: clock(run.FailedAt, zone),
		LastGoodAt: clockOr(run.LastGoodAt, zone), Window: WindowResult{clockOr(run.After, zone), clockOr(run.Until, zone)},
		Error: ErrorResult{Model: run.Model, Points: []ErrorPoint{}, Unit: "K"}, Notes: append([]string{}, run.Notes...),
		Readings: run.Readings, Unmatched: run.Unmatched, Assessments: []AssessmentResult{}, Holds: []HoldResult{}, Shipped: []ShippedResult{}}
	for _, p := range run.Points {
		d.Error.Points = append(d.Error.Points, ErrorPoint{p.At, p.Reference, p.Found, p.Left, p.ExpandedUncertainty, p.Basis})
	}
	for _, a := range run.Assessments {
		d.Assessments = append(d.Assessments, newAssessment(a))
	}
	worst := gravest(run.Assessments)
	for _, h := range rep.Holds {
		d.Holds = append(d.Holds, HoldResult{h.LotCode, h.BecauseOf, worst[h.BecauseOf], h.Quantity, h.Unit, h.Location, h.AcknowledgedAt != nil})
	}
	for _, s := range rep.Shipped {
		d.Shipped = append(d.Shipped, ShippedResult{s.Lot, s.BecauseOf, worst[s.BecauseOf], s.Shipment, s.Consignee, s.Quantity, s.Unit, clock(s.ShippedAt, zone)})
	}
	return d
}

// gravest returns the gravest verdict of each lot.
func gravest(list []workflow.Assessment) map[string]*string {
	m := map[string]*string{}
	for _, a := range list {
		v := string(a.Result.Verdict)
		if m[a.Lot] == nil || limit.Verdict(*m[a.Lot]).LessGrave(a.Result.Verdict) {
			m[a.Lot] = &v
		}
	}
	return m
}

func newAssessment(a workflow.Assessment) AssessmentResult {
	r := a.Result
	out := AssessmentResult{Lot: a.Lot, LimitText: a.Text, LimitUnit: a.Unit, Via: a.Via, Verdict: string(r.Verdict), MissedAsRecorded: r.MissedAsRecorded,
		Readings: r.Readings, Measure: MeasureResult{r.Measure.Name, r.Measure.Unit, r.Measure.Required, r.Measure.Recorded, r.Measure.Corrected, r.Measure.Worst},
		Rules: []RuleResult{}, Headroom: number(r.Headroom), WorstError: number(r.WorstError), Probability: r.ProbabilityMissed,
		CorroboratedBy: []string{}, Level: a.Impact.Level, LevelReason: a.Impact.LevelReason, Score: a.Impact.Score,
		Factors: []FactorResult{}, Route: a.Route, RouteReason: a.Reason, Signers: append([]string{}, a.Signers...),
		Reasons: append([]string{}, r.Reasons...), Method: r.Method}
	if a.Limit != "" {
		out.Limit = &a.Limit
	}
	for _, v := range r.OtherRules {
		out.Rules = append(out.Rules, RuleResult{v.Rule, v.Recorded, v.Corrected, v.Worst})
	}
	for _, f := range a.Impact.Factors {
		out.Factors = append(out.Factors, FactorResult{f.Name, f.Value, f.Reason})
	}
	return out
}

func number(d *unit.CelsiusDiff) *float64 {
	if d == nil {
		return nil
	}
	f := float64(*d)
	return &f
}

func clock(t time.Time, zone *time.Location) string { return t.In(zone).Format(time.RFC3339Nano) }

func clockOr(t *time.Time, zone *time.Location) *string {
	if t == nil {
		return nil
	}
	s := clock(*t, zone)
	return &s
}
