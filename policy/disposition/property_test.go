package disposition

import (
	"slices"
	"testing"

	"pgregory.net/rapid"

	"lastgood/policy/limit"
	"lastgood/policy/sampling"
)

var allRegimes = func() []Regime {
	out := []Regime{"somewhere"}
	for _, g := range regimes {
		out = append(out, g.regime)
	}
	return out
}()

func drawnVerdict(t *rapid.T) limit.Verdict {
	return rapid.SampledFrom(append([]limit.Verdict{"", "clear", "safe"}, verdicts...)).Draw(t, "verdict")
}

func drawnFacts(t *rapid.T) Facts {
	f := Facts{
		MissedAsRecorded: rapid.Bool().Draw(t, "missed as recorded"),
		Where:            rapid.SampledFrom([]Place{InControl, Shipped, Retrieved, "", "truck"}).Draw(t, "where"),
		Level:            rapid.IntRange(-1, 7).Draw(t, "level"),
		Regimes:          rapid.SliceOfN(rapid.SampledFrom(allRegimes), 0, 3).Draw(t, "regimes"),
		Evidence:         rapid.SliceOfDistinct(rapid.SampledFrom(everything()), rapid.ID).Draw(t, "evidence"),
		Toxin:            rapid.Bool().Draw(t, "toxin"),
		ListeriaContact:  rapid.Bool().Draw(t, "listeria"),
		OthersInDoubt:    rapid.Bool().Draw(t, "others"),
	}
	for range rapid.IntRange(0, 2).Draw(t, "tests") {
		f.Tests = append(f.Tests, sampling.Outcome{Decision: rapid.SampledFrom([]sampling.Decision{
			sampling.Accept, sampling.Reject, sampling.Undecided, ""}).Draw(t, "decision")})
	}
	return f
}

// TestMissedIsNeverReleasedByDefault, over all facts: product that missed its
// limit, as recorded or after correction, is released only where every regime
// over it accepts an evaluation, and that evaluation is attached; whatever level,
// test or other evidence there is.
func TestMissedIsNeverReleasedByDefault(t *testing.T) {
	t.Parallel()
	released := 0
	rapid.Check(t, func(t *rapid.T) {
		v, f := drawnVerdict(t), drawnFacts(t)
		if rapid.Bool().Draw(t, "likely") { // so that the exception is met, too
			f.Regimes, f.ListeriaContact, f.Tests = []Regime{rapid.SampledFrom([]Regime{LowAcidCanned, MeatPoultry, CannedMeat}).Draw(t, "regime")}, false, passed()
		}
		if v != limit.Missed && !f.MissedAsRecorded {
			v = limit.Missed
		}
		o := get(v, f, Release)
		if !o.Allowed {
			return
		}
		released++
		if len(f.Regimes) == 0 {
			t.Fatalf("released under no regime: %s", o.Why)
		}
		for _, g := range f.Regimes {
			accepted := map[Regime]Evidence{LowAcidCanned: AuthorityReport, Acidified: AuthorityReport, CannedMeat: AuthorityReport, MeatPoultry: ScientificEvaluation}[g]
			if accepted == "" || !slices.Contains(f.Evidence, accepted) {
				t.Fatalf("released under %s without the evaluation it accepts: %s", g, o.Why)
			}
		}
		if !signs(o, ProcessAuthority) && slices.Contains(f.Evidence, AuthorityReport) && f.under(scheduled) || !signs(o, QualifiedPerson) || !signs(o, Verifier) {
			t.Fatalf("signed by too few: %v", o.Signers)
		}
	})
	if released == 0 {
		t.Error("the exception was never met, so nothing was tested")
	}
}

func signs(o Option, r Role) bool {
	return slices.ContainsFunc(o.Signers, func(s Signature) bool { return s.Role == r })
}

// TestNeitherTestNorLevelReleases: without other evidence nothing that is not
// shown to have met its limit is released, and neither a passed test nor any level
// changes what is allowed.
func TestNeitherTestNorLevelReleases(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		v, f := drawnVerdict(t), drawnFacts(t)
		level := f
		level.Level = rapid.IntRange(-1, 7).Draw(t, "other level")
		bare := f
		bare.Evidence = slices.DeleteFunc(slices.Clone(f.Evidence), func(e Evidence) bool { return e == ProductTest })
		tested := bare
		tested.Evidence = append(slices.Clone(bare.Evidence), ProductTest)
		tested.Tests = append(slices.Clone(f.Tests), sampling.Outcome{Decision: sampling.Accept})
		for _, d := range all {
			was := get(v, bare, d)
			if get(v, level, d).Allowed != get(v, f, d).Allowed {
				t.Fatalf("the level changes whether %s is allowed", d)
			}
			if get(v, tested, d).Allowed != was.Allowed {
				t.Fatalf("a passed test changes whether %s is allowed", d)
			}
		}
		only := f
		only.Evidence = []Evidence{ProductTest, TestResults, ReceiverAcceptance, ValidatedProcess, DetailedAssessment}
		if (v != limit.Met || f.MissedAsRecorded) && get(v, only, Release).Allowed {
			t.Fatal("released on evidence that says nothing of the limit")
		}
	})
}

// TestEvidenceNeverTakesAway and a regime never gives: more evidence allows at
// least as much, one more regime at most as much.
func TestEvidenceNeverTakesAway(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		v, f := drawnVerdict(t), drawnFacts(t)
		more, stricter := f, f
		more.Evidence = append(slices.Clone(f.Evidence), rapid.SampledFrom(everything()).Draw(t, "more"))
		stricter.Regimes = append(slices.Clone(f.Regimes), rapid.SampledFrom(allRegimes).Draw(t, "stricter"))
		named := len(f.Regimes) > 0 // the first regime is what an evaluation is accepted by
		for _, d := range all {
			was := get(v, f, d)
			if was.Allowed && !get(v, more, d).Allowed {
				t.Fatalf("more evidence takes %s away", d)
			}
			if !was.Allowed && get(v, stricter, d).Allowed && named {
				t.Fatalf("one more regime allows %s", d)
			}
		}
	})
}

// TestGraverNeverAllowsMore: what is allowed for a graver verdict is allowed for a
// lighter one, but for retrieving, and a higher level never has fewer signers.
func TestGraverNeverAllowsMore(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		f := drawnFacts(t)
		f.MissedAsRecorded = false
		for _, d := range all[:5] {
			met, doubt, unknown := get(limit.Met, f, d), get(limit.Indeterminate, f, d), get(limit.Unknown, f, d)
			missed := get(limit.Missed, f, d)
			if doubt.Allowed && !met.Allowed || unknown.Allowed != doubt.Allowed || d != Release && missed.Allowed && !doubt.Allowed {
				t.Fatalf("%s: met %t, indeterminate %t, unknown %t, missed %t", d, met.Allowed, doubt.Allowed, unknown.Allowed, missed.Allowed)
			}
			f.Level = 1 + rapid.IntRange(0, 3).Draw(t, "level")
			low := get(limit.Indeterminate, f, d)
			f.Level++
			high := get(limit.Indeterminate, f, d)
			for _, s := range low.Signers {
				if !slices.Contains(high.Signers, s) {
					t.Fatalf("%s: %s signs at level %d and not above", d, s.Role, f.Level-1)
				}
			}
		}
	})
}

// TestOptionsAreWhole: every option says why, a barred one needs nothing that
// could be attached, and one that is not barred can be had with everything.
func TestOptionsAreWhole(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		v, f := drawnVerdict(t), drawnFacts(t)
		for _, o := range Allowed(v, f) {
			if o.Why == "" || o.Barred && (o.Allowed || len(o.Needs)+len(o.Signers) > 0) || !o.Barred && len(o.Signers) < 2 {
				t.Fatalf("%+v", o)
			}
			with := f
			with.Evidence = everything()
			if !o.Barred && !f.pending() && !get(v, with, o.Disposition).Allowed {
				t.Fatalf("%s is not barred, and nothing allows it: %s", o.Disposition, get(v, with, o.Disposition).Why)
			}
		}
	})
}

// TestSignersDoNotConflict: with one person to each seat nobody is in conflict,
// and no two seats of a decision may be one person's but those that the notes let
// be.
func TestSignersDoNotConflict(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		for _, o := range Allowed(drawnVerdict(t), drawnFacts(t)) {
			var own, alone []Act
			for i, s := range o.Signers {
				a := Act{Deed: s.Deed, By: string(rune('a' + i)), Role: s.Role, Disposition: o.Disposition}
				own = append(own, a)
				a.By = "ada"
				alone = append(alone, a)
			}
			if found := Conflicts(own); len(found) > 0 {
				t.Fatalf("%s: %+v", o.Disposition, found)
			}
			if !o.Barred && len(Conflicts(alone)) == 0 {
				t.Fatalf("%s could be signed by one person alone: %+v", o.Disposition, o.Signers)
			}
		}
	})
}
