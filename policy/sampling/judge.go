package sampling

import (
	"errors"
	"fmt"
)

// Decision is what the results say of the product by the plan.
type Decision string

// The decisions.
const (
	Accept    Decision = "accept"
	Reject    Decision = "reject"
	Undecided Decision = "undecided" // results are missing, or do not say enough
)

// Reach is what the samples can speak for.
type Reach string

// The reaches. An empty or foreign one counts as TaggedOnly.
const (
	// WholeLot: every unit of the lot had the same chance of being drawn.
	WholeLot Reach = "whole_lot"
	// TaggedOnly: the samples cannot represent the lot (a cold spot, the far
	// pallets only), and the result is limited to the quantity that was tagged
	// (design notes on the procedure, exception X34).
	TaggedOnly Reach = "tagged_only"
)

// Order is a re-test as it was ordered.
type Order struct {
	Plan  Plan
	Reach Reach
	// Tagged is the quantity the result is limited to, as it was tagged
	// ("pallets 3 to 5, 412 kg").
	Tagged string
	// Units is how many sampling units there are in what the samples speak for;
	// 0: unknown or many, and the proof is that for a large lot.
	Units      int
	Confidence float64 // of what the outcome proves; 0: DefaultConfidence
}

// DefaultConfidence of a proof (common practice).
const DefaultConfidence = 0.95

// Outcome is what the results say, with what it is worth.
type Outcome struct {
	Decision Decision
	// Valid results came in, Voided ones do not count and Missing ones are still
	// to come.
	Valid, Voided, Missing int
	AboveLimit             int // valid results certainly above m
	AboveReject            int // those of them certainly above M
	// Unclear results are reported as "less than" or "more than" a value that
	// leaves their class open.
	Unclear int
	// VoidedAbove are voided results that were above m. They do not count, and
	// whoever signs should know of them.
	VoidedAbove int
	// LimitedTo is the quantity the decision is limited to; empty: the whole lot.
	LimitedTo string
	// Allows is the largest share of units above m that the results still allow
	// at Confidence; nil unless accepted.
	Allows     *float64
	Confidence float64
	Reason     string
	Method     string
}

// Method names this way of judging; another rule is another name.
const Method = "sampling/attributes@1"

// Judge accepts or rejects by the plan.
//
// Rejection needs no further result: nothing that is still to come can undo it.
// Acceptance needs n valid results; a voided one leaves a place open until
// another comes in. Results beyond n count as well and can only reject, so that
// sampling on never helps. What a result leaves open is taken both ways, and the
// plan decides only if both agree.
func Judge(o Order, results []Result) (Outcome, error) {
	if err := o.Plan.complete(); err != nil {
		return Outcome{}, err
	}
	out := Outcome{Confidence: o.Confidence, LimitedTo: o.limitedTo(), Method: Method}
	if out.Confidence == 0 {
		out.Confidence = DefaultConfidence
	}
	if err := verifyConfidence(out.Confidence); err != nil {
		return Outcome{}, err
	}
	if err := o.fits(); err != nil {
		return Outcome{}, err
	}
	if err := verifyResults(o.Plan, results); err != nil {
		return Outcome{}, err
	}
	t := out.count(o.Plan, results)
	out.decide(o.Plan, t)
	if out.Decision == Accept {
		if err := out.prove(o, t.aboveLimit); err != nil {
			return Outcome{}, err
		}
	}
	out.Reason = out.reason(o.Plan)
	return out, nil
}

// fits refuses a plan that is not for so many units.
func (o Order) fits() error {
	p := o.Plan
	switch {
	case o.Units < 0 || o.Units > 0 && o.Units < p.N:
		return fmt.Errorf("%d samples cannot be drawn from %d units", p.N, o.Units)
	case o.Units > 0 && (o.Units < p.LotFrom || p.LotTo > 0 && o.Units > p.LotTo):
		return fmt.Errorf("the plan is for another size of lot than %d units", o.Units)
	}
	return nil
}

// limitedTo names the quantity that the decision is limited to.
func (o Order) limitedTo() string {
	switch {
	case o.Reach == WholeLot:
		return ""
	case o.Tagged == "":
		return "the quantity that was tagged"
	}
	return o.Tagged
}

// tally is how many results would count if all that is open went badly.
type tally struct{ aboveLimit, aboveReject int }

// count fills in the numbers and returns the worst of them.
func (out *Outcome) count(p Plan, results []Result) tally {
	var worst tally
	for _, r := range results {
		low, high := p.classes(r)
		if r.Void != nil {
			out.Voided++
			if low > acceptable {
				out.VoidedAbove++
			}
			continue
		}
		out.Valid++
		if low != high {
			out.Unclear++
		}
		out.AboveLimit += counts(low > acceptable)
		out.AboveReject += counts(low > marginal)
		worst.aboveLimit += counts(high > acceptable)
		worst.aboveReject += counts(high > marginal)
	}
	out.Missing = max(0, p.N-out.Valid)
	return worst
}

func counts(yes bool) int {
	if yes {
		return 1
	}
	return 0
}

// decide applies the plan to the best and the worst reading of the results.
func (out *Outcome) decide(p Plan, worst tally) {
	switch {
	case out.AboveLimit > p.C || out.AboveReject > 0:
		out.Decision = Reject
	case out.Missing > 0 || worst.aboveLimit > p.C || worst.aboveReject > 0:
		out.Decision = Undecided
	default:
		out.Decision = Accept
	}
}

// prove fills in what an acceptance still allows, with what is open taken as
// above m.
func (out *Outcome) prove(o Order, above int) error {
	if o.Units == 0 || o.Units > MaxLot {
		share, err := Proves(out.Valid, above, out.Confidence)
		out.Allows = &share
		return err
	}
	if out.Valid > o.Units {
		return fmt.Errorf("%d results cannot come from %d units", out.Valid, o.Units)
	}
	units, err := ProvesLot(out.Valid, above, o.Units, out.Confidence)
	share := float64(units) / float64(o.Units)
	out.Allows = &share
	return err
}

// verifyResults refuses results that the plan cannot be applied to.
func verifyResults(p Plan, results []Result) error {
	seen := make(map[string]bool, len(results))
	valid := 0
	for i, r := range results {
		if err := r.verify(p.Unit); err != nil {
			return fmt.Errorf("result %d (%s): %w", i+1, r.Sample, err)
		}
		if r.Void != nil {
			continue
		}
		if seen[r.Sample] {
			return fmt.Errorf("result %d: sample %s has two results that count: void one of them", i+1, r.Sample)
		}
		seen[r.Sample] = true
		valid++
	}
	if valid > MaxSamples {
		return errors.New("more results than the largest plan asks for")
	}
	return nil
}
