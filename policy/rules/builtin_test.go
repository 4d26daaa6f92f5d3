package rules

import (
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

var threeWay = []*bool{new(false), new(true), nil}

// someFacts returns a part of all combinations of the facts that the built-in
// rules read, with every value of every fact.
func someFacts() []Facts {
	var out []Facts
	n := 0
	for _, f := range placed() {
		for _, f.Severity = range severities {
			for _, f.Kind = range append(kindWords[:9:9], "") {
				for bits := range 4 {
					f.KillStep, f.NoLastGood = bits&1 != 0, bits&2 != 0
					for _, f.ReadyToEat = range threeWay {
						for _, f.Vulnerable = range threeWay {
							if n++; n%101 == 0 {
								out = append(out, f)
							}
						}
					}
				}
			}
		}
	}
	return out
}

// TestNumbersMoveNothing: a probability, a share or a number of hours orders
// work; the built-in rules decide without it.
func TestNumbersMoveNothing(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		f := anyFacts(t)
		f.ShippedShare, f.Consignees = nil, nil // which would say that it has shipped
		want := Default().Evaluate(f)
		number := rapid.Ptr(rapid.Float64Range(0, 1), true)
		f.ProbabilityMissed, f.HoursToNextShipment, f.ShelfLifeHours = number.Draw(t, "p"), number.Draw(t, "to ship"), number.Draw(t, "left")
		if f.Shipped {
			f.ShippedShare = number.Draw(t, "share")
		}
		if d := Differences(want, Default().Evaluate(f)); d != nil {
			t.Fatalf("a number moved %v", d)
		}
	})
}

// TestWorseFactsNeverLookBetter: learning something bad, or knowing less, never
// lowers the level. (Severity is left out on purpose: where the rules are silent
// the level is 4, whatever the severity.)
func TestWorseFactsNeverLookBetter(t *testing.T) {
	t.Parallel()
	worsen := map[string]func(*Facts){
		"shipped too":        func(f *Facts) { f.Shipped = true },
		"no last good":       func(f *Facts) { f.NoLastGood = true },
		"missed as recorded": func(f *Facts) { f.MissedAsRecorded = true },
		"ready to eat":       func(f *Facts) { f.ReadyToEat = new(true) },
		"vulnerable":         func(f *Facts) { f.Vulnerable = nil },
	}
	for name, change := range worsen {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			rapid.Check(t, func(t *rapid.T) {
				f := anyFacts(t)
				before := Default().Evaluate(f)
				change(&f)
				if after := Default().Evaluate(f); after.Level < before.Level {
					t.Fatalf("level fell from %d (%s) to %d (%s)", before.Level, before.LevelRule, after.Level, after.LevelRule)
				}
			})
		})
	}
}

// TestOnlyMetIsReleased: no fact but the verdict opens the gate, or a kill step
// that all of the lot went through; and a lot that missed, as recorded or not,
// never passes it.
func TestOnlyMetIsReleased(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		f := anyFacts(t)
		released := Default().Evaluate(f).Route == ReleaseWithRecord
		killed := f.KillStep && (f.Verdict == indeterminate || f.Verdict == unknown)
		if want := (f.Verdict == met || killed) && !f.MissedAsRecorded; released != want {
			t.Fatalf("released %v, want %v", released, want)
		}
	})
}

// TestShippedAndNotMetIsReviewed: what has left and is not shown to have met its
// limit always comes before people.
func TestShippedAndNotMetIsReviewed(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		f := anyFacts(t)
		f.Shipped = true
		if o := Default().Evaluate(f); o.Route != RecallReview && o.Route != ReleaseWithRecord {
			t.Fatalf("route %s", o.Route)
		}
	})
}

func TestEveryOutcomeIsExplainedAndSigned(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		o := Default().Evaluate(anyFacts(t))
		if o.Level < 1 || o.Level > highest || o.LevelRule == "" || o.LevelReason == "" || o.RouteRule == "" || o.RouteReason == "" || o.Means == "" {
			t.Fatalf("%+v", o)
		}
		if strings.Contains(o.LevelReason+o.RouteReason+o.Means, "safe") {
			t.Fatalf("it claims too much: %+v", o)
		}
		if len(o.Signers) < 2 || o.Signers[0].Role != QALead || !slices.ContainsFunc(o.Signers, func(s Signer) bool { return s.Role != QALead }) {
			t.Fatalf("signers %v: the QA lead and a second person at least", o.Signers)
		}
	})
}

// TestRoutesByStory: common practice, in words.
func TestRoutesByStory(t *testing.T) {
	t.Parallel()
	tests := []struct {
		story string
		facts Facts
		route Route
	}{
		{"a cook that met its limit after correction", Facts{Verdict: met, Kind: "at_least", Shipped: true}, ReleaseWithRecord},
		{"a cook in the plant that may have missed", Facts{Verdict: indeterminate, Kind: "at_least", InControl: true}, HoldAndRetest},
		{"a cook in the plant that missed", Facts{Verdict: missed, Kind: "at_least", InControl: true}, Rework},
		{"a retort load in doubt", Facts{Verdict: indeterminate, Kind: "lethality", InControl: true}, HoldForProcessAuthority},
		{"a pasteuriser that missed its hold", Facts{Verdict: missed, Kind: "hold", InControl: true}, HoldForProcessAuthority},
		{"a cold room that was too warm", Facts{Verdict: missed, Kind: "at_most", InControl: true}, Destroy},
		{"a lost probe, all of it in the plant", Facts{Verdict: unknown, Kind: "at_least", InControl: true}, HoldAndRetest},
		{"a lost probe, some of it sold", Facts{Verdict: unknown, Kind: "at_least", InControl: true, Shipped: true}, RecallReview},
		{"used up in other lots", Facts{Verdict: missed, Kind: "at_least"}, HoldAndRetest},
	}
	for _, tt := range tests {
		t.Run(tt.story, func(t *testing.T) {
			t.Parallel()
			if o := Default().Evaluate(tt.facts); o.Route != tt.route {
				t.Errorf("route %s by %s, want %s", o.Route, o.RouteRule, tt.route)
			}
		})
	}
}

// TestNothingKnownIsNotHarmless: the rules are silent on it, and people look.
func TestNothingKnownIsNotHarmless(t *testing.T) {
	t.Parallel()
	if o := Default().Evaluate(Facts{}); o.Level != 4 || o.LevelRule != "no-rule" || o.Route != HoldAndRetest {
		t.Errorf("nothing known gives level %d by %s, route %s", o.Level, o.LevelRule, o.Route)
	}
}

func roles(s []Signer) string {
	var out []string
	for _, one := range s {
		out = append(out, one.Role)
	}
	return strings.Join(out, ", ")
}
