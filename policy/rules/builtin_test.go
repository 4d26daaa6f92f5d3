package rules

import (
	"strings"
	"testing"

	"lastgood/policy/impact"
	"lastgood/policy/routing"
)

var threeWay = []*bool{new(false), new(true), nil}

// everyFact returns all combinations of the facts that the built-in rules read.
func everyFact() []Facts {
	var out []Facts
	for _, verdict := range verdictWords {
		for _, severity := range []string{"minor", "moderate", "serious", "fatal", ""} {
			for _, kind := range append(kindWords[:9:9], "") {
				for bits := range 32 {
					for _, ready := range threeWay {
						for _, vulnerable := range threeWay {
							out = append(out, Facts{Verdict: verdict, Severity: severity, Kind: kind, ReadyToEat: ready, Vulnerable: vulnerable,
								MissedAsRecorded: bits&1 != 0, KillStep: bits&2 != 0, NoLastGood: bits&4 != 0, Shipped: bits&8 != 0, InControl: bits&16 != 0})
						}
					}
				}
			}
		}
	}
	return out
}

// someFacts returns a part of them that has every value of every fact.
func someFacts() []Facts {
	var out []Facts
	for i, f := range everyFact() {
		if i%101 == 0 {
			out = append(out, f)
		}
	}
	return out
}

// TestDefaultDecidesAsTheTables: over all facts, the built-in document gives the
// level, the route, the signers, the rules and the reasons that the tables in
// policy/impact and policy/routing give.
func TestDefaultDecidesAsTheTables(t *testing.T) {
	t.Parallel()
	facts := everyFact()
	if len(facts) != 4*5*10*32*9 {
		t.Fatalf("%d combinations", len(facts))
	}
	for _, f := range facts {
		o := Default().Evaluate(f)
		a := impact.Assess(impact.Facts{Verdict: f.Verdict, MissedAsRecorded: f.MissedAsRecorded, NoLastGood: f.NoLastGood, KillStep: f.KillStep,
			ShippedAny: f.Shipped, InControlAny: f.InControl, Severity: impact.Severity(f.Severity), ReadyToEat: f.ReadyToEat, Vulnerable: f.Vulnerable})
		if o.Level != a.Level || o.LevelRule != a.LevelRule || o.LevelReason != a.LevelReason {
			t.Fatalf("%+v:\nlevel %d by %s: %s\nwant  %d by %s: %s", f, o.Level, o.LevelRule, o.LevelReason, a.Level, a.LevelRule, a.LevelReason)
		}
		d := routing.Default(routing.Facts{Level: a.Level, Verdict: f.Verdict, MissedAsRecorded: f.MissedAsRecorded, KillStep: f.KillStep,
			Shipped: f.Shipped, InControl: f.InControl, Kind: f.Kind, Severity: impact.Severity(f.Severity)})
		if string(o.Route) != string(d.Route) || o.RouteRule != d.Rule || o.RouteReason != d.Reason {
			t.Fatalf("%+v:\nroute %s by %s: %s\nwant  %s by %s: %s", f, o.Route, o.RouteRule, o.RouteReason, d.Route, d.Rule, d.Reason)
		}
		if got, want := roles(o.Signers), strings.Join(d.Signers, ", "); got != want {
			t.Fatalf("%+v: signers %s, want %s", f, got, want)
		}
	}
}

func roles(s []Signer) string {
	var out []string
	for _, one := range s {
		out = append(out, one.Role)
	}
	return strings.Join(out, ", ")
}
