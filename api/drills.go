package api

import (
	"context"
	"fmt"
	"net/http"
	"time"

	"github.com/danielgtaylor/huma/v2"

	"lastgood/api/exchange"
	"lastgood/policy/unit"
	"lastgood/workflow"
	"lastgood/workflow/fault"
	"lastgood/workflow/key"
)

// DrillFact is a failure that is supposed.
type DrillFact struct {
	Instrument string           `json:"instrument" maxLength:"100"`
	At         *Moment          `json:"at,omitempty" doc:"When the supposed check was done; left out: now"`
	Unit       string           `json:"unit,omitempty" enum:"C,F,K,CEL,FAH,KEL" doc:"Of the error and the points"`
	Error      *Degrees         `json:"error,omitempty" doc:"Indicated − true, the same at every point of its latest check"`
	Points     []DrillPointFact `json:"points,omitempty" maxItems:"100" doc:"With neither these nor an error it is supposed to be lost"`
}

// DrillPointFact is what the supposed check finds at one point.
type DrillPointFact struct {
	At          Degrees  `json:"at" doc:"What the instrument shows"`
	Error       Degrees  `json:"error" doc:"Indicated − true"`
	Uncertainty *Degrees `json:"uncertainty,omitempty" doc:"Of the reference, expanded, k = 2; left out: as at its latest check"`
}

func (s *server) registerDrills(api huma.API) {
	huma.Register(api, huma.Operation{OperationID: "run-drill", Method: http.MethodPost, Path: "/v1/drills",
		Summary:  "What a supposed failure would put in doubt, hold and route; nothing is recorded",
		Security: needs(key.DeviationsRead), MaxBodyBytes: s.MaxBody, DefaultStatus: http.StatusOK}, handle(s, s.runDrill))
	huma.Register(api, huma.Operation{OperationID: "compare-intervals", Method: http.MethodGet, Path: "/v1/instruments/{instrument}/intervals",
		Summary:  "What one failure would put in doubt at each check interval, and how likely the instrument is to last so long",
		Security: needs(key.FactsRead)}, handle(s, s.compareIntervals))
}

type drillAnswer struct{ Body exchange.DrillResult }

func (s *server) runDrill(ctx context.Context, in *struct{ Body DrillFact }) (*drillAnswer, error) {
	sup, err := in.Body.supposition()
	if err != nil {
		return nil, err
	}
	d, err := s.svc.Drill(ctx, scope(ctx, ""), sup)
	if err != nil {
		return nil, err
	}
	return &drillAnswer{exchange.NewDrill(time.UTC, d)}, nil
}

func (f DrillFact) supposition() (s workflow.Supposition, err error) {
	s.Instrument = f.Instrument
	if f.At != nil {
		if s.At, err = timeOr(string(*f.At), "body.at", time.Time{}); err != nil {
			return s, err
		}
	}
	s.Error = (*unit.Micro)(f.Error)
	for _, p := range f.Points {
		s.Points = append(s.Points, workflow.SupposedPoint{At: unit.Micro(p.At), Error: unit.Micro(p.Error), Uncertainty: (*unit.Micro)(p.Uncertainty)})
	}
	if s.Error == nil && len(s.Points) == 0 {
		return s, nil
	}
	if f.Unit == "" {
		return s, fault.New(fault.Invalid, "unit-required", "an error has a unit: write C, F or K").In("body.unit")
	}
	s.Scale, err = unit.ParseScale(f.Unit) // one of the enumeration, so it is one
	for i, p := range f.Points {
		if p.Uncertainty != nil && *p.Uncertainty < 0 {
			return s, fault.New(fault.Invalid, "out-of-range", "an uncertainty is not negative").In(fmt.Sprintf("body.points[%d].uncertainty", i))
		}
	}
	return s, err
}
