package rules

import (
	"slices"

	"cel.dev/cel-go/cel"
	"cel.dev/cel-go/common/types"
	"cel.dev/cel-go/common/types/ref"
)

// Fact is one word that a condition may use.
type Fact struct {
	Name    string
	Type    string // truth value, text, whole number or number
	Meaning string
	Words   []string // that a text may be; none: any text
	Parts   []string // keys of the document whose conditions may use it
}

// Vocabulary returns the facts that conditions are written with. Each always
// has a value, so that no condition can fail for want of one: in a name that
// ends in _or_unknown or _at_worst what is not known counts as the worse, and
// the name that ends in _known says whether it is.
func Vocabulary() []Fact {
	out := make([]Fact, len(vocabulary))
	for i, v := range vocabulary {
		out[i] = Fact{Name: v.name, Type: typeNames[v.kind], Meaning: v.meaning, Words: slices.Clone(v.words), Parts: v.from.parts()}
	}
	return out
}

// stage is where a condition stands: what an earlier stage decides is a fact of
// the later ones.
type stage int

const (
	levelStage  stage = iota // levels
	routeStage               // rules
	signerStage              // signers and deadlines
)

func (s stage) parts() []string {
	return [][]string{{"levels", "rules", "signers", "deadlines"}, {"rules", "signers", "deadlines"}, {"signers", "deadlines"}}[s]
}

var typeNames = map[*cel.Type]string{
	cel.BoolType: "truth value", cel.StringType: "text", cel.IntType: "whole number", cel.DoubleType: "number",
}

// word is one fact and how it is read.
type word struct {
	name    string
	kind    *cel.Type
	from    stage
	meaning string
	words   []string
	value   func(*Facts, *Outcome) ref.Val
}

// many is what an unknown number of consignees counts as: more than any rule
// names.
const many = 1_000_000

var verdictWords = []string{met, indeterminate, missed, unknown}
var severityWords = []string{"minor", "moderate", "serious", "fatal", unknown}
var monitoringWords = []string{"discrete", "continuous", "exception", unknown}
var kindWords = []string{"at_least", "at_most", "hold", "dwell_table", "lethality", "log_reduction", "cooling", "exposure", "growth", unknown}

var vocabulary = []word{
	text("verdict", "whether the lot met its limit after correction; unknown if nothing can be said", verdictWords,
		func(f *Facts) string { return f.Verdict }),
	truth("missed_as_recorded", "the readings missed the limit before any correction",
		func(f *Facts) bool { return f.MissedAsRecorded }),
	truth("no_last_good", "the instrument has no good check before the failed one",
		func(f *Facts) bool { return f.NoLastGood }),
	truth("kill_step", "all of the lot went through a later step, proven by a good instrument, that controls the hazard; a toxin is never controlled",
		func(f *Facts) bool { return f.KillStep }),
	number("probability_missed_at_worst", "the probability that the limit was missed, 0 to 1; not known: 1",
		func(f *Facts) float64 { return or(f.ProbabilityMissed, 1) }),
	truth("probability_missed_known", "that probability is known",
		func(f *Facts) bool { return f.ProbabilityMissed != nil }),
	truth("shipped", "some of the lot, or of what was made of it, has left the plant",
		func(f *Facts) bool { return f.Shipped }),
	truth("in_control", "some of it is still where the plant can stop it",
		func(f *Facts) bool { return f.InControl }),
	number("shipped_share_at_worst", "the share of the quantity in doubt that has left, 0 to 1; not known: 1, or 0 if nothing has shipped",
		func(f *Facts) float64 { return or(f.ShippedShare, f.ifShipped(1)) }),
	truth("shipped_share_known", "that share is known",
		func(f *Facts) bool { return f.ShippedShare != nil || !f.Shipped }),
	whole("consignees_at_worst", "how many received it; not known: 1000000, or 0 if nothing has shipped", consignees),
	truth("consignees_known", "that number is known",
		func(f *Facts) bool { return f.Consignees != nil || !f.Shipped }),
	number("hours_to_next_shipment_at_worst", "hours until some of it is due to leave; not known: 0",
		func(f *Facts) float64 { return or(f.HoursToNextShipment, 0) }),
	truth("hours_to_next_shipment_known", "those hours are known",
		func(f *Facts) bool { return f.HoursToNextShipment != nil }),
	number("shelf_life_hours_at_worst", "hours of shelf life left; not known: 0, so that a deadline is the sooner",
		func(f *Facts) float64 { return or(f.ShelfLifeHours, 0) }),
	truth("shelf_life_hours_known", "those hours are known",
		func(f *Facts) bool { return f.ShelfLifeHours != nil }),
	text("severity", "how badly the hazard can hurt somebody", severityWords,
		func(f *Facts) string { return f.Severity }),
	truth("grave_or_unknown", "the severity is serious, fatal or unknown",
		func(f *Facts) bool { return f.grave() }),
	text("hazard", "the hazard that the limit controls, as the policy names it; not known: empty", nil,
		func(f *Facts) string { return f.Hazard }),
	truth("ready_to_eat_or_unknown", "it is eaten without a further cook, or that is not known",
		func(f *Facts) bool { return yes(f.ReadyToEat) }),
	truth("ready_to_eat_known", "whether it is ready to eat is known",
		func(f *Facts) bool { return f.ReadyToEat != nil }),
	truth("vulnerable_or_unknown", "infants, the old or the sick eat it, or that is not known",
		func(f *Facts) bool { return yes(f.Vulnerable) }),
	truth("vulnerable_known", "who eats it is known",
		func(f *Facts) bool { return f.Vulnerable != nil }),
	truth("supports_growth_or_unknown", "it supports growth, or that is not known",
		func(f *Facts) bool { return yes(f.SupportsGrowth) }),
	truth("supports_growth_known", "whether it supports growth is known",
		func(f *Facts) bool { return f.SupportsGrowth != nil }),
	text("limit", "the name of the limit; not known: empty", nil,
		func(f *Facts) string { return f.Limit }),
	text("product", "the name of the product; not known: empty", nil,
		func(f *Facts) string { return f.Product }),
	text("kind", "the kind of the limit", kindWords,
		func(f *Facts) string { return f.Kind }),
	text("monitoring", "how the limit is watched", monitoringWords,
		func(f *Facts) string { return f.Monitoring }),
	{"level", cel.IntType, routeStage, "the level that the rules under levels gave, 1 to 5", nil,
		func(_ *Facts, o *Outcome) ref.Val { return types.Int(o.Level) }},
	{"route", cel.StringType, signerStage, "the route that the rules under rules gave", routeWords,
		func(_ *Facts, o *Outcome) ref.Val { return types.String(o.Route) }},
}

func truth(name, meaning string, value func(*Facts) bool) word {
	return word{name, cel.BoolType, levelStage, meaning, nil,
		func(f *Facts, _ *Outcome) ref.Val { return types.Bool(value(f)) }}
}

func text(name, meaning string, words []string, value func(*Facts) string) word {
	return word{name, cel.StringType, levelStage, meaning, words,
		func(f *Facts, _ *Outcome) ref.Val { return types.String(value(f)) }}
}

func number(name, meaning string, value func(*Facts) float64) word {
	return word{name, cel.DoubleType, levelStage, meaning, nil,
		func(f *Facts, _ *Outcome) ref.Val { return types.Double(value(f)) }}
}

func whole(name, meaning string, value func(*Facts) int) word {
	return word{name, cel.IntType, levelStage, meaning, nil,
		func(f *Facts, _ *Outcome) ref.Val { return types.Int(value(f)) }}
}

func consignees(f *Facts) int {
	if f.Consignees != nil {
		return *f.Consignees
	}
	return int(f.ifShipped(many))
}

// ifShipped is v for what has shipped and nothing for what has not.
func (f *Facts) ifShipped(v float64) float64 {
	if f.Shipped {
		return v
	}
	return 0
}

// or is v, or what stands for it if it is not known.
func or(v *float64, worst float64) float64 {
	if v == nil {
		return worst
	}
	return *v
}

// yes reads an attribute; not known counts as yes.
func yes(b *bool) bool { return b == nil || *b }

// places is where each fact stands in the vocabulary.
var places = func() map[string]int {
	m := make(map[string]int, len(vocabulary))
	for i, w := range vocabulary {
		m[w.name] = i
	}
	return m
}()
