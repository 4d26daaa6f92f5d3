package api

import (
	"context"
	"math"
	"time"

	"lastgood/policy/interval"
	"lastgood/workflow"
)

// IntervalsBody compares check intervals of one instrument.
type IntervalsBody struct {
	Instrument  string             `json:"instrument"`
	PresentDays float64            `json:"present_days"`
	Stated      bool               `json:"present_stated" doc:"false: nobody states an interval, and the mean of what was done stands for it"`
	Record      IntervalRecord     `json:"record"`
	History     IntervalHistory    `json:"history"`
	Candidates  []IntervalBody     `json:"candidates" doc:"Ascending; the present one is among them"`
	Suggestion  IntervalSuggestion `json:"suggestion"`
	Caution     string             `json:"caution"`
	Method      string             `json:"method"`
}

// IntervalRecord is the record that the exposure was counted from: at most the
// last year in which the instrument was read.
type IntervalRecord struct {
	From      *string `json:"from" doc:"null: it was never read"`
	To        *string `json:"to"`
	Readings  int64   `json:"readings"`
	Lots      int     `json:"lots"`
	Unweighed int     `json:"lots_without_quantity"`
}

// IntervalHistory is what its checks found.
type IntervalHistory struct {
	Intervals   int             `json:"intervals" doc:"That began with a good check, or with going into service"`
	Within      int             `json:"within" doc:"Of these, those at whose end it was within tolerance"`
	AtLimit     int             `json:"at_limit" doc:"Passes so near the tolerance that the display cannot tell; not within"`
	OverrunDays float64         `json:"overrun_days" doc:"How late the latest check was done"`
	Checks      []IntervalCheck `json:"checks" doc:"The newest 400, in order of time"`
}

// IntervalCheck is a check as it was found, at its worst point [K].
type IntervalCheck struct {
	PerformedAt string   `json:"performed_at"`
	Found       string   `json:"found_verdict" enum:"pass,fail,inconclusive"`
	FoundError  *float64 `json:"found_error"`
}

// IntervalBody is what one interval would mean.
type IntervalBody struct {
	Days          float64 `json:"days"`
	ChecksPerYear float64 `json:"checks_per_year"`
	// Lots and Quantities are what one failed check would put in doubt.
	Lots       *MeanWorst         `json:"lots" doc:"null: the record is shorter than the interval"`
	Quantities []IntervalQuantity `json:"quantities"`
	// Reliability: a probability that the check at the end finds it within
	// tolerance.
	Reliability     *float64 `json:"reliability" doc:"null: the history says nothing"`
	ReliabilityLow  float64  `json:"reliability_low" doc:"Its lower bound, at 90 % confidence"`
	FailuresPerYear *float64 `json:"failures_per_year"`
	LotsPerYear     *float64 `json:"lots_in_doubt_per_year" doc:"failures_per_year × the mean of lots"`
	LargestDrift    *float64 `json:"largest_drift" doc:"K; null: too few checks for a drift"`
}

// MeanWorst is a count over every moment of the record.
type MeanWorst struct {
	Mean  float64 `json:"mean"`
	Worst float64 `json:"worst"`
}

// IntervalQuantity is the same of product in one unit.
type IntervalQuantity struct {
	QuantityUnit string `json:"quantity_unit"`
	MeanWorst
}

// IntervalSuggestion is a proposal to a person.
type IntervalSuggestion struct {
	Advice         string   `json:"advice"`
	Days           *float64 `json:"days"`
	ByExposureDays *float64 `json:"by_exposure_days" doc:"The longest at which one failure puts no more in doubt than may be"`
	Reason         string   `json:"reason"`
}

// IntervalsQuery says of which instrument, and what the site wants.
type IntervalsQuery struct {
	Instrument  string  `path:"instrument" maxLength:"100"`
	Reliability float64 `query:"reliability" minimum:"0.5" maximum:"0.999" default:"0.95" doc:"Aimed at for the check at the end of an interval"`
	MostLots    float64 `query:"most_lots" minimum:"0" maximum:"1000000" doc:"That one failure may put in doubt; 0: no bound"`
	MostKg      float64 `query:"most_kg" minimum:"0" maximum:"1000000000" doc:"That one failure may put in doubt; 0: no bound"`
}

type intervalsAnswer struct{ Body IntervalsBody }

func (s *server) compareIntervals(ctx context.Context, in *IntervalsQuery) (*intervalsAnswer, error) {
	aim := interval.Aim{Reliability: in.Reliability}
	if in.MostLots > 0 {
		aim.MostLots = &in.MostLots
	}
	if in.MostKg > 0 {
		aim.MostKg = &in.MostKg
	}
	r, err := s.svc.Intervals(ctx, scope(ctx, ""), in.Instrument, aim)
	if err != nil {
		return nil, err
	}
	return &intervalsAnswer{intervalsBody(r)}, nil
}

const intervalCaution = "This supports a decision and does not make one: what was made of the lots in doubt comes on top, " +
	"and a law or a customer may ask for shorter intervals."

func intervalsBody(r workflow.Intervals) IntervalsBody {
	g := r.Report.Suggestion
	b := IntervalsBody{Instrument: r.Instrument, PresentDays: r.Present, Stated: r.Stated,
		Record:  IntervalRecord{clockOr(r.From), clockOr(r.To), r.Readings, r.Lots, r.Unweighed},
		History: intervalHistory(r), Candidates: []IntervalBody{},
		Suggestion: IntervalSuggestion{string(g.Advice), g.Days, g.ByExposure, g.Reason}, Caution: intervalCaution, Method: r.Report.Method}
	for i, c := range r.Report.Candidates {
		b.Candidates = append(b.Candidates, intervalBody(c, r.Exposures[i]))
	}
	return b
}

func intervalHistory(r workflow.Intervals) IntervalHistory {
	o := r.Report.Observed
	h := IntervalHistory{o.Spans, o.Within, o.AtLimit, o.Overrun, []IntervalCheck{}}
	const newest = 400
	checks := r.History.Checks
	for _, c := range checks[max(0, len(checks)-newest):] {
		h.Checks = append(h.Checks, IntervalCheck{clock(time.UnixMicro(c.At)), string(c.Found), kelvin(c.FoundError)})
	}
	return h
}

func intervalBody(c interval.Candidate, e workflow.Exposed) IntervalBody {
	b := IntervalBody{Days: c.Days, ChecksPerYear: c.ChecksPerYear, Quantities: []IntervalQuantity{}, Reliability: c.Reliability,
		ReliabilityLow: c.ReliabilityLow, FailuresPerYear: c.FailuresPerYear, LargestDrift: kelvin(c.Reach)}
	if !e.Counted {
		return b
	}
	b.Lots = &MeanWorst{rounded(e.MeanLots), rounded(e.WorstLots)}
	for _, q := range e.Quantities {
		b.Quantities = append(b.Quantities, IntervalQuantity{q.Unit, MeanWorst{rounded(q.Mean), rounded(q.Worst)}})
	}
	if c.FailuresPerYear != nil {
		perYear := rounded(e.MeanLots * *c.FailuresPerYear)
		b.LotsPerYear = &perYear
	}
	return b
}

// rounded takes the noise of sums off: amounts have at most six decimals.
func rounded(v float64) float64 { return math.Round(v*1e6) / 1e6 }
