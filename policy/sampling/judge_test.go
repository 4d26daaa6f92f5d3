package sampling_test

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"lastgood/policy/sampling"
)

// counted is a plan of three classes: n 5, c 2, m 50, M 500 (Regulation (EC)
// 2073/2005, Annex I, row 2.1.6; from memory).
func counted(t *testing.T) sampling.Plan {
	t.Helper()
	p, ok := sampling.ByID("eu2073-2.1.6b")
	if !ok {
		t.Fatal("no such plan")
	}
	return p
}

// results reads "50 <10 >300 60v": v is void.
func results(t *testing.T, unit, s string) []sampling.Result {
	t.Helper()
	var out []sampling.Result
	for i, w := range strings.Fields(s) {
		r := sampling.Result{Sample: fmt.Sprintf("S%d", i+1), Unit: unit}
		if v, ok := strings.CutSuffix(w, "v"); ok {
			w, r.Void = v, &sampling.Void{Reason: "sample leaked in transit", SignedBy: "laboratory head"}
		}
		if strings.HasPrefix(w, "<") || strings.HasPrefix(w, ">") {
			r.Bound, w = sampling.Bound(w[:1]), w[1:]
		}
		if _, err := fmt.Sscan(w, &r.Value); err != nil {
			t.Fatal(err)
		}
		out = append(out, r)
	}
	return out
}

func TestJudgeThreeClasses(t *testing.T) {
	t.Parallel()
	for _, c := range []struct{ results, want, why string }{
		{"1 2 3 4 5", "accept", "all below m"},
		{"50 50 50 50 50", "accept", "a result at m is not above it"},
		{"51 51 1 1 1", "accept", "two above m, and two may be"},
		{"51 51 51 1 1", "reject", "three above m"},
		{"500 500 1 1 1", "accept", "a result at M is not above it"},
		{"501 1 1 1 1", "reject", "one above M"},
		{"501", "reject", "nothing still to come can undo it"},
		{"51 51 51", "reject", "nothing still to come can undo it"},
		{"", "undecided", "no results"},
		{"1 2 3 4", "undecided", "one to come"},
		{"1 2 3 4 5v", "undecided", "a voided result does not count"},
		{"501v 1 2 3 4 5", "accept", "the voided one was replaced"},
		{"<10 <10 <10 <10 <10", "accept", "below the limit of quantification, which is below m"},
		{"<100 <100 <100 1 1", "undecided", "three may be above m or not"},
		{"<100 <100 1 1 1", "accept", "even if both are above m, two may be"},
		{"<50.1 51 51 1 1", "undecided", "just above m is possible"},
		{"<1000 1 1 1 1", "undecided", "it may be above M"},
		{">50 >50 >50 1 1", "reject", "all three are above m, whatever they are"},
		{">300 1 1 1 1", "undecided", "it may be above M"},
		{">500 1 1 1 1", "reject", "more than M is above M"},
		{">10 1 1 1 1", "undecided", "more than 10 may be anything"},
		{"1 1 1 1 1 51 51 51", "reject", "results beyond n count"},
		{"51 51 1 1 1 1 1 1", "accept", "results beyond n may pass too"},
	} {
		t.Run(c.results, func(t *testing.T) {
			t.Parallel()
			out, err := sampling.Judge(sampling.Order{Plan: counted(t), Reach: sampling.WholeLot}, results(t, "cfu/g", c.results))
			if err != nil {
				t.Fatal(err)
			}
			if string(out.Decision) != c.want {
				t.Errorf("%s, want %s: %s (%s)", out.Decision, c.want, c.why, out.Reason)
			}
			if !strings.HasPrefix(out.Reason, c.want+": ") || out.Method != sampling.Method {
				t.Errorf("reason %q, method %q", out.Reason, out.Method)
			}
			if (out.Allows != nil) != (out.Decision == sampling.Accept) {
				t.Errorf("%s and allows %v", out.Decision, out.Allows)
			}
		})
	}
}

func TestJudgeTwoClasses(t *testing.T) {
	t.Parallel()
	sixty, _ := sampling.ByID("icmsf-15")
	sixty.Limit, sixty.Unit = new(0.0), "detected in 25 g"
	order := sampling.Order{Plan: sixty, Reach: sampling.WholeLot}
	out, err := sampling.Judge(order, results(t, sixty.Unit, strings.Repeat("0 ", 60)))
	if err != nil {
		t.Fatal(err)
	}
	// Clopper and Pearson for 0 of 60 at 95 %, published/metrology: 1 − 0.05^(1/60).
	if out.Decision != sampling.Accept || math.Abs(*out.Allows-0.0487) > 0.0001 {
		t.Errorf("60 clean samples: %s", out.Reason)
	}
	if !strings.Contains(out.Reason, "up to 4.87 % of the units may still be above m") {
		t.Errorf("reason %q", out.Reason)
	}
	order.Units = 100
	small, err := sampling.Judge(order, results(t, sixty.Unit, strings.Repeat("0 ", 60)))
	if err != nil {
		t.Fatal(err)
	}
	// Three among the 40 not drawn: 40·39·38/(100·99·98) = 0.061 > 0.05; four: 0.023.
	if *small.Allows != 0.03 {
		t.Errorf("of 100 units %g may be defective, want 3", 100**small.Allows)
	}
	found, err := sampling.Judge(order, results(t, sixty.Unit, "1"))
	if err != nil || found.Decision != sampling.Reject || found.AboveLimit != 1 || found.Missing != 59 {
		t.Errorf("one detected: %+v, %v", found, err)
	}
}

func TestLimitedToWhatWasTagged(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		reach        sampling.Reach
		tagged, want string
	}{
		{sampling.WholeLot, "", ""},
		{sampling.WholeLot, "pallet 3", ""},
		{sampling.TaggedOnly, "pallet 3, 412 kg", "pallet 3, 412 kg"},
		{"", "pallet 3, 412 kg", "pallet 3, 412 kg"}, // not said: not the lot
		{"", "", "the quantity that was tagged"},
	} {
		out, err := sampling.Judge(sampling.Order{Plan: counted(t), Reach: c.reach, Tagged: c.tagged}, results(t, "cfu/g", "1 1 1 1 1"))
		if err != nil {
			t.Fatal(err)
		}
		if out.LimitedTo != c.want || strings.Contains(out.Reason, "cannot speak for the lot") != (c.want != "") {
			t.Errorf("%q %q: limited to %q; %s", c.reach, c.tagged, out.LimitedTo, out.Reason)
		}
	}
}

func TestVoidedResultsStayVisible(t *testing.T) {
	t.Parallel()
	out, err := sampling.Judge(sampling.Order{Plan: counted(t)}, results(t, "cfu/g", "501v 20v 1 1 1 1"))
	if err != nil {
		t.Fatal(err)
	}
	if out.Voided != 2 || out.VoidedAbove != 1 || out.Valid != 4 || out.Missing != 1 || out.Decision != sampling.Undecided {
		t.Errorf("%+v", out)
	}
	if !strings.Contains(out.Reason, "Of 2 voided results 1 were above m") {
		t.Errorf("reason %q", out.Reason)
	}
}

func TestWhatCannotBeJudged(t *testing.T) {
	t.Parallel()
	good := func() (sampling.Order, []sampling.Result) {
		return sampling.Order{Plan: counted(t)}, results(t, "cfu/g", "1 1 1 1 1")
	}
	for name, spoil := range map[string]func(*sampling.Order, []sampling.Result){
		"no m":                  func(o *sampling.Order, _ []sampling.Result) { o.Plan.Limit = nil },
		"no M":                  func(o *sampling.Order, _ []sampling.Result) { o.Plan.Reject = nil },
		"M at m":                func(o *sampling.Order, _ []sampling.Result) { o.Plan.Reject = new(50.0) },
		"c as many as n":        func(o *sampling.Order, _ []sampling.Result) { o.Plan.C = 5 },
		"no samples":            func(o *sampling.Order, _ []sampling.Result) { o.Plan.N = 0 },
		"four classes":          func(o *sampling.Order, _ []sampling.Result) { o.Plan.Classes = 4 },
		"two classes and an M":  func(o *sampling.Order, _ []sampling.Result) { o.Plan.Classes = 2 },
		"m is no number":        func(o *sampling.Order, _ []sampling.Result) { o.Plan.Limit = new(math.NaN()) },
		"certain":               func(o *sampling.Order, _ []sampling.Result) { o.Confidence = 1 },
		"fewer units than n":    func(o *sampling.Order, _ []sampling.Result) { o.Units = 4 },
		"a lot too small":       func(o *sampling.Order, _ []sampling.Result) { o.Units, o.Plan.LotFrom = 99, 100 },
		"a lot too large":       func(o *sampling.Order, _ []sampling.Result) { o.Units, o.Plan.LotTo = 99, 98 },
		"another unit":          func(_ *sampling.Order, r []sampling.Result) { r[0].Unit = "cfu/ml" },
		"no sample":             func(_ *sampling.Order, r []sampling.Result) { r[0].Sample = "" },
		"the same sample twice": func(_ *sampling.Order, r []sampling.Result) { r[0].Sample = r[1].Sample },
		"no value":              func(_ *sampling.Order, r []sampling.Result) { r[0].Value = math.Inf(1) },
		"a foreign bound":       func(_ *sampling.Order, r []sampling.Result) { r[0].Bound = "~" },
		"void without a reason": func(_ *sampling.Order, r []sampling.Result) { r[0].Void = &sampling.Void{SignedBy: "QA"} },
		"void and not signed":   func(_ *sampling.Order, r []sampling.Result) { r[0].Void = &sampling.Void{Reason: "leaked"} },
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			o, r := good()
			spoil(&o, r)
			if out, err := sampling.Judge(o, r); err == nil {
				t.Errorf("judged: %s", out.Reason)
			}
		})
	}
	o, r := good()
	o.Units = 5
	if _, err := sampling.Judge(o, append(r, sampling.Result{Sample: "S9", Value: 1, Unit: "cfu/g"})); err == nil {
		t.Error("six results from five units")
	}
}
