package exchange

import (
	"cmp"
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
	Lot              string        `json:"lot"`
	Limit            *string       `json:"limit"` // null: no limit applies
	LimitText        string        `json:"limit_text"`
	LimitUnit        string        `json:"limit_unit"` // the scale that the limit is written in
	Via              string        `json:"via"`
	Verdict          string        `json:"verdict"`
	OwnVerdict       string        `json:"own_verdict"` // of the instrument in doubt alone
	MissedAsRecorded bool          `json:"missed_as_recorded"`
	Readings         int           `json:"readings"`
	Measure          MeasureResult `json:"measure"`
	Rules            []RuleResult  `json:"other_rules"`
	Headroom         *float64      `json:"headroom"`
	WorstError       *float64      `json:"worst_error"`
	Probability      *float64      `json:"probability_missed"`
	// Probabilities is the same under every model of when the error began.
	Probabilities  []ModelResult  `json:"probability_by_model"`
	CorroboratedBy []string       `json:"corroborated_by"` // second instruments that cleared the doubt
	Seconds        []SecondResult `json:"second_instruments"`
	// KillStep is the later step that cleared the hazard; the limit's verdict
	// stands as it is.
	KillStep    *KillStepResult `json:"kill_step,omitempty" doc:"The later step that cleared the hazard; absent where none did"`
	Quality     *string         `json:"quality_note"` // what a harmless error did to the product
	Level       int             `json:"level"`
	LevelReason string          `json:"level_reason"`
	Score       int             `json:"score"`
	Factors     []FactorResult  `json:"factors"`
	Route       string          `json:"route"`
	RouteReason string          `json:"route_reason"`
	// RouteMeans is what the route means at this plant, by its policy.
	RouteMeans string            `json:"route_means"`
	Signers    []string          `json:"signers"`
	Signatures []SignatureResult `json:"signatures"`
	Deadlines  []DeadlineResult  `json:"deadlines"`
	Reasons    []string          `json:"reasons"`
	Method     string            `json:"method"`
}

// ModelResult is the probability of a miss under one model of when the error
// began; null: unknown.
type ModelResult struct {
	Model  string   `json:"model"`
	Missed *float64 `json:"probability_missed"`
}

// SecondResult is what a second instrument says of the same lot and limit.
type SecondResult struct {
	Instrument string        `json:"instrument"`
	Verdict    string        `json:"verdict"`
	Readings   int           `json:"readings"`
	Measure    MeasureResult `json:"measure"`
	// EN is the largest |E_n| over the pairs of readings near in time; null where
	// none could be compared.
	EN      *float64 `json:"e_n"`
	Pairs   int      `json:"pairs"`
	Counted bool     `json:"counted"`
	Refused *string  `json:"refused"` // why it does not count
}

// KillStepResult is a later step that cleared a hazard.
type KillStepResult struct {
	Limit string   `json:"limit"`
	Lots  []string `json:"lots"` // that met it: all that was made of the lot
	By    []string `json:"by"`   // instruments
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

// RuleResult is the same by another published rule, or a part of it (a stage, a
// band, a row), which decides nothing by itself. Its unit is the measure's
// unless it says another.
type RuleResult struct {
	Rule      string   `json:"rule"`
	Unit      string   `json:"unit"`
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
	// MovedAt is when product left by a shipment that was recorded while the hold
	// stood; earlier than the hold: it had gone already.
	MovedAt *string `json:"moved_at,omitzero"`
	// AllowedAt is when the ship gate allowed it, so shortly before the hold that
	// it may be on its way.
	AllowedAt *string `json:"allowed_at,omitzero"`
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
		Error: ErrorResult{Model: run.Model, Points: []ErrorPoint{}, Unit: "K"}, Notes: allInZone(run.Notes, zone),
		Readings: run.Readings, Unmatched: run.Unmatched, Assessments: []AssessmentResult{}, Holds: []HoldResult{}, Shipped: []ShippedResult{}}
	for _, p := range run.Points {
		d.Error.Points = append(d.Error.Points, ErrorPoint{p.At, p.Reference, p.Found, p.Left, p.ExpandedUncertainty, p.Basis})
	}
	for _, a := range run.Assessments {
		d.Assessments = append(d.Assessments, newAssessment(a, zone))
	}
	worst := Gravest(run.Assessments)
	for _, h := range rep.Holds {
		d.Holds = append(d.Holds, HoldResult{h.LotCode, h.BecauseOf, worst[h.BecauseOf], h.Quantity, h.Unit, h.Location, h.AcknowledgedAt != nil,
			clockOr(h.MovedAt, zone), clockOr(h.AllowedAt, zone)})
	}
	for _, s := range rep.Shipped {
		d.Shipped = append(d.Shipped, ShippedResult{s.Lot, s.BecauseOf, worst[s.BecauseOf], s.Shipment, s.Consignee, s.Quantity, s.Unit, clock(s.ShippedAt, zone)})
	}
	return d
}

// Gravest returns the gravest verdict of each lot.
func Gravest(list []workflow.Assessment) map[string]*string {
	m := map[string]*string{}
	for _, a := range list {
		v := string(a.Result.Verdict)
		if m[a.Lot] == nil || limit.Verdict(*m[a.Lot]).LessGrave(a.Result.Verdict) {
			m[a.Lot] = &v
		}
	}
	return m
}

func newAssessment(a workflow.Assessment, zone *time.Location) AssessmentResult {
	r := a.Result
	out := AssessmentResult{Lot: a.Lot, LimitText: a.Text, LimitUnit: a.Unit, Via: a.Via, Verdict: string(r.Verdict), OwnVerdict: string(a.OwnVerdict), MissedAsRecorded: r.MissedAsRecorded,
		Readings: r.Readings, Measure: measure(r.Measure),
		Rules: []RuleResult{}, Headroom: number(r.Headroom), WorstError: number(r.WorstError), Probability: r.ProbabilityMissed,
		Probabilities: []ModelResult{}, CorroboratedBy: append([]string{}, a.ClearedBy...), Seconds: []SecondResult{}, Level: a.Impact.Level, LevelReason: a.Impact.LevelReason, Score: a.Impact.Score,
		Factors: []FactorResult{}, Route: a.Route, RouteReason: a.Reason, RouteMeans: a.Means,
		Signers: append([]string{}, a.Signers...), Signatures: NewSignatures(a.Signatures), Deadlines: []DeadlineResult{},
		Reasons: allInZone(r.Reasons, zone), Method: r.Method}
	if a.Limit != "" {
		out.Limit = &a.Limit
	}
	for _, v := range r.OtherRules {
		out.Rules = append(out.Rules, RuleResult{v.Rule, cmp.Or(v.Unit, r.Measure.Unit), v.Recorded, v.Corrected, v.Worst})
	}
	for _, p := range r.Probabilities {
		out.Probabilities = append(out.Probabilities, ModelResult{p.Model, p.Missed})
	}
	for _, w := range a.Seconds {
		out.Seconds = append(out.Seconds, second(w, zone))
	}
	if k := a.KillStep; k != nil {
		out.KillStep = &KillStepResult{k.Limit, k.Lots, k.By}
	}
	if r.Quality != "" {
		out.Quality = &r.Quality
	}
	for _, d := range a.Deadlines {
		out.Deadlines = append(out.Deadlines, DeadlineResult(d))
	}
	for _, f := range a.Impact.Factors {
		out.Factors = append(out.Factors, FactorResult{f.Name, f.Value, f.Reason})
	}
	return out
}

func measure(m limit.Measure) MeasureResult {
	return MeasureResult{m.Name, m.Unit, m.Required, m.Recorded, m.Corrected, m.Worst}
}

func second(w workflow.Second, zone *time.Location) SecondResult {
	out := SecondResult{Instrument: w.Instrument, Verdict: string(w.Verdict), Readings: w.Readings, Measure: measure(w.Measure),
		Pairs: w.Agreement.Pairs, Counted: w.Refused == ""}
	if w.Agreement.Tested {
		out.EN = &w.Agreement.Largest
	}
	if w.Refused != "" {
		out.Refused = new(inZone(w.Refused, zone))
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
