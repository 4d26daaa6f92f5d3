package workflow

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"time"

	"lastgood/policy/sampling"
	"lastgood/workflow/fault"
	"lastgood/workflow/pg"
	"lastgood/workflow/retest"
	"lastgood/workflow/trail"
)

// NewSample is a sample that was drawn.
type NewSample struct {
	Sample string    `json:"sample"`
	At     time.Time `json:"drawn_at"`
	By     string    `json:"drawn_by"`
	From   string    `json:"drawn_from"`
}

// DrawSamples records samples, by a person or a plant's system. More than the plan
// asks for may be drawn, and replace voided ones.
func (s *Service) DrawSamples(ctx context.Context, sc pg.Scope, id retest.ID, list []NewSample) (Retest, error) {
	return s.ofRetest(ctx, sc, "samples drawn", id, list, func(tx *pg.Tx, d *Deviation, t Retest) error {
		if State(t.State) == TestDecided || State(t.State) == TestCancelled {
			return fault.New(fault.Refused, "transition-not-allowed", "re-test %d is %s: nothing more is drawn for it", id, t.State)
		}
		names := make([]string, len(list))
		for i, n := range list {
			names[i] = n.Sample
		}
		drawn, err := retest.Drawn(ctx, tx, names)
		if err != nil {
			return err
		}
		var bad fault.Rows
		for i, n := range list {
			switch err := n.check(tx.Now); {
			case err != nil:
				bad.Add(i, err)
			case slices.Contains(drawn, n.Sample) || slices.Contains(names[:i], n.Sample):
				bad.Add(i, fault.New(fault.Conflict, "duplicate", "there is a sample %s already", n.Sample).In("sample"))
			case bad == nil:
				if err := retest.AddSample(ctx, tx, retest.Sample{Retest: id, Name: n.Sample, At: n.At, By: n.By, From: n.From}); err != nil {
					return err
				}
			}
		}
		if bad != nil {
			return bad
		}
		return trail.Append(ctx, tx, trail.Entry{Stream: d.stream(), Action: "retest.samples_drawn", Subject: t.name(), Version: t.Version,
			After: map[string]any{"retest": id, "samples": list}})
	})
}

func (n NewSample) check(now time.Time) *fault.Error {
	var err error
	for _, e := range []error{said(n.Sample, "sample", "the sample's number"), said(n.By, "drawn_by", "who drew it"),
		said(n.From, "drawn_from", "from where it was drawn"), inTheFuture(n.At, now, "drawn_at")} {
		if err == nil {
			err = e
		}
	}
	f, _ := err.(*fault.Error)
	return f
}

// NewCustody says who has the samples from then on.
type NewCustody struct {
	At        time.Time `json:"at"`
	Who       string    `json:"who"`
	Condition string    `json:"condition"`
	Reference string    `json:"reference"` // the laboratory's own; only where it received them
}

// HandOver records that somebody else has the samples.
func (s *Service) HandOver(ctx context.Context, sc pg.Scope, id retest.ID, n NewCustody) (Retest, error) {
	return s.custody(ctx, sc, id, retest.HandedOver, n)
}

// ReceiveSamples records that the laboratory has received the samples.
func (s *Service) ReceiveSamples(ctx context.Context, sc pg.Scope, id retest.ID, n NewCustody) (Retest, error) {
	return s.custody(ctx, sc, id, retest.Received, n)
}

func (s *Service) custody(ctx context.Context, sc pg.Scope, id retest.ID, kind string, n NewCustody) (Retest, error) {
	return s.ofRetest(ctx, sc, "samples "+strings.ReplaceAll(kind, "_", " "), id, n, func(tx *pg.Tx, d *Deviation, t Retest) error {
		if err := n.check(t, kind, tx.Now); err != nil {
			return err
		}
		c := retest.Custody{Retest: id, Kind: kind, At: n.At, Who: n.Who, Reference: n.Reference, Condition: n.Condition}
		if err := retest.AddCustody(ctx, tx, c); err != nil {
			return err
		}
		return trail.Append(ctx, tx, trail.Entry{Stream: d.stream(), Action: "retest.samples_" + kind, Subject: t.name(), Version: t.Version, HappenedAt: n.At,
			After: map[string]any{"retest": id, "who": n.Who, "reference": n.Reference, "condition": n.Condition}})
	})
}

func (n NewCustody) check(t Retest, kind string, now time.Time) error {
	if err := inTheFuture(n.At, now, "at"); err != nil {
		return err
	}
	if err := said(n.Who, "who", "who has the samples from then on"); err != nil {
		return err
	}
	if err := said(n.Condition, "condition", "in what condition: temperature, seals, packing"); err != nil {
		return err
	}
	switch {
	case State(t.State) == TestCancelled || len(t.Samples) == 0:
		return fault.New(fault.Refused, "transition-not-allowed", "re-test %d is %s: there are no samples to carry", t.ID, t.State)
	case kind != retest.Received:
		return nil
	case State(t.State) == TestOrdered:
		return fault.New(fault.Refused, "samples-missing", "%d samples are drawn, and the plan asks for %d", len(t.Samples), t.Plan.N)
	case n.Who != t.Laboratory:
		return fault.New(fault.Invalid, "other-laboratory", "it was ordered from %s: another laboratory is another order", t.Laboratory).In("who")
	}
	return said(n.Reference, "reference", "under which number the laboratory has them")
}

// NewResult is one sample's result.
type NewResult struct {
	Lot        string           `json:"lot"`
	Sample     string           `json:"sample"`
	Value      float64          `json:"value"`
	Bound      sampling.Bound   `json:"bound"`
	Unit       string           `json:"unit"`
	Method     string           `json:"method"`
	Laboratory string           `json:"laboratory"`
	Report     string           `json:"report"`
	TestedAt   time.Time        `json:"tested_at"`
	Replaces   *retest.ResultID `json:"replaces"`
	Reason     string           `json:"reason"` // why it replaces another
}

// ReportResults records what the laboratory found, all of it or nothing, by a
// person or by the laboratory's system. A result ties to its sample and lot and is
// never changed: a correction replaces it, and asks again for what was signed on
// it, even of a closed deviation.
func (s *Service) ReportResults(ctx context.Context, sc pg.Scope, id retest.ID, list []NewResult) (Retest, error) {
	return s.ofRetest(ctx, sc, "results reported", id, list, func(tx *pg.Tx, d *Deviation, t Retest) error {
		if !slices.Contains([]State{TestInLaboratory, TestReported, TestDecided}, State(t.State)) {
			return fault.New(fault.Refused, "transition-not-allowed", "re-test %d is %s: a result comes from samples that the laboratory received", id, t.State)
		}
		var bad fault.Rows
		for i, n := range list {
			if err := t.fits(n, tx.Now); err != nil {
				bad.Add(i, err)
				continue
			}
			r := retest.Result{Retest: id, Sample: n.Sample, Value: n.Value, Bound: n.Bound, Unit: n.Unit, Method: n.Method, Laboratory: n.Laboratory,
				Report: n.Report, TestedAt: n.TestedAt, Replaces: n.Replaces, Reason: n.Reason}
			if bad != nil {
				continue
			}
			var err error
			if r.ID, err = retest.AddResult(ctx, tx, r); err != nil {
				return err
			}
			t.take(r)
		}
		if bad != nil {
			return bad
		}
		if _, err := t.judge(); err != nil {
			return fault.New(fault.Invalid, "bad-result", "%v", err)
		}
		return trail.Append(ctx, tx, trail.Entry{Stream: d.stream(), Action: "retest.results_reported", Subject: t.name(), Version: t.Version,
			After: map[string]any{"retest": id, "results": list}})
	})
}

// take adds a result to those that are known.
func (t *Retest) take(r retest.Result) {
	t.Results = slices.Clone(t.Results)
	for i := range t.Results {
		if r.Replaces != nil && t.Results[i].ID == *r.Replaces {
			t.Results[i].ReplacedBy = &r.ID
		}
	}
	t.Results = append(t.Results, r)
}

// fits refuses a result that does not tie to a sample and the lot, or that would
// stand beside another.
func (t Retest) fits(n NewResult, now time.Time) *fault.Error {
	drawn := slices.ContainsFunc(t.Samples, func(s retest.Sample) bool { return s.Name == n.Sample })
	standing := slices.IndexFunc(t.Results, func(r retest.Result) bool { return r.Sample == n.Sample && r.Stands() && r.VoidedBy == "" })
	replaced := slices.IndexFunc(t.Results, func(r retest.Result) bool { return n.Replaces != nil && r.ID == *n.Replaces })
	switch {
	case !drawn:
		return fault.New(fault.Invalid, "unknown-sample", "no sample %q was drawn for re-test %d", n.Sample, t.ID).In("sample")
	case n.Lot != t.Lot:
		return fault.New(fault.Invalid, "other-lot", "sample %s is of lot %s, not of %q", n.Sample, t.Lot, n.Lot).In("lot")
	case n.Laboratory != t.Laboratory:
		return fault.New(fault.Invalid, "other-laboratory", "it was ordered from %s: another laboratory is another order", t.Laboratory).In("laboratory")
	case n.Unit != t.Plan.Unit:
		return fault.New(fault.Invalid, "unknown-unit", "the plan counts in %q", t.Plan.Unit).In("unit")
	case !slices.Contains([]sampling.Bound{sampling.Exactly, sampling.LessThan, sampling.MoreThan}, n.Bound):
		return fault.New(fault.Invalid, "unknown-word", "a result is less than (<), more than (>) or exactly a value").In("bound")
	case n.Replaces != nil && (replaced < 0 || t.Results[replaced].Sample != n.Sample):
		return fault.New(fault.Invalid, "unknown-result", "sample %s has no result %d", n.Sample, *n.Replaces).In("replaces")
	case n.Replaces != nil && (!t.Results[replaced].Stands() || t.Results[replaced].VoidedBy != ""):
		return fault.New(fault.Conflict, "not-standing", "result %d does not count any more", *n.Replaces).In("replaces")
	case n.Replaces == nil && standing >= 0:
		return fault.New(fault.Conflict, "result-stands", "sample %s has result %d: a correction says that it replaces it, and why", n.Sample, t.Results[standing].ID).In("replaces")
	case n.Replaces == nil && strings.TrimSpace(n.Reason) != "":
		return fault.New(fault.Invalid, "reason-unasked", "a reason is for a result that replaces another").In("reason")
	}
	for _, err := range []error{said(n.Method, "method", "the method"), said(n.Report, "report", "the laboratory's number of the report"), inTheFuture(n.TestedAt, now, "tested_at")} {
		if f, ok := err.(*fault.Error); ok {
			return f
		}
	}
	if n.Replaces != nil && strings.TrimSpace(n.Reason) == "" {
		return fault.New(fault.Invalid, "reason-missing", "say why it replaces result %d", *n.Replaces).In("reason")
	}
	return nil
}

// resultWords is a result as a person reads it.
func resultWords(r retest.Result) string {
	return fmt.Sprintf("%s: %s%g %s", r.Sample, r.Bound, r.Value, r.Unit)
}
