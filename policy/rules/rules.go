// Package rules is a site's policy for lots in doubt: which level and route a
// lot gets, who signs, and by when. The rules are lines of the policy document;
// their conditions are written in CEL, an expression language.
//
// A rule proposes. Four things stand outside the rules, so that no line of a
// document can undo them (guard.go): what is not shown to have met its limit is
// never released, the worst facts keep their level, two people sign, and a rule
// that cannot be evaluated holds the lot.
package rules

import (
	_ "embed"
	"slices"
	"sync"
	"time"

	"cel.dev/cel-go/cel"
	"go.yaml.in/yaml/v4"
)

// Route is what is proposed for a lot.
type Route string

// The routes.
const (
	ReleaseWithRecord       Route = "release_with_record"
	HoldAndRetest           Route = "hold_and_retest"
	HoldForProcessAuthority Route = "hold_for_process_authority"
	Rework                  Route = "rework"
	Destroy                 Route = "destroy"
	RecallReview            Route = "recall_review"
)

var routeWords = []string{
	string(ReleaseWithRecord), string(HoldAndRetest), string(HoldForProcessAuthority),
	string(Rework), string(Destroy), string(RecallReview),
}

// The roles that sign.
const (
	QALead            = "qa_lead"
	PlantManager      = "plant_manager"
	RegulatoryLiaison = "regulatory_liaison"
	ProcessAuthority  = "process_authority"
	Verifier          = "verifier" // a second person who checks the decision
	Reviewer          = "reviewer" // reads the record
)

var roleWords = []string{QALead, PlantManager, RegulatoryLiaison, ProcessAuthority, Verifier, Reviewer}

// Rules are the compiled rules of one policy. They never change and may be used
// by many goroutines at once.
type Rules struct {
	levels    []levelLine // the first that matches gives the level
	raises    []levelLine // each that matches raises it
	routes    []routeLine // the first that matches gives the route
	means     map[Route]string
	signers   []signerLine   // each that matches signs, in this order
	deadlines []deadlineLine // each that matches is a deadline
	own       []string       // the parts that the document has
}

// Method names this way of deciding; another language, another order of the
// rules or another guard is another name. Which rules decided is the version of
// the policy.
const Method = "rules/first-match@1"

// line is what every rule has: a name and a condition.
type line struct {
	name    string
	when    string
	program cel.Program
}

type levelLine struct {
	line
	level  int // or by how much it raises
	reason string
}

type routeLine struct {
	line
	route  Route
	reason string
}

type signerLine struct {
	line
	role, meaning string
}

type deadlineLine struct {
	line
	within time.Duration
	what   string
}

// Problem is one thing that is wrong with the rules of a document.
type Problem struct {
	Line, Column int    // from 1; inside a condition, of the word at fault
	Path         string // rules[2].when
	Rule         string // stable: unknown-fact, wrong-type, unreachable, …
	Detail       string // a sentence that says what is allowed
}

// Keys returns the keys of a policy document that Compile reads. It leaves all
// others alone.
func Keys() []string { return []string{"levels", "rules", "routes", "signers", "deadlines"} }

// Part is what one key of the document says, or what is built in.
type Part struct {
	Key     string
	Rules   int // how many; of routes, the meanings
	BuiltIn bool
}

// Parts returns the parts, in the order of Keys.
func (r *Rules) Parts() []Part {
	many := map[string]int{"levels": len(r.levels) + len(r.raises), "rules": len(r.routes), "routes": len(r.means),
		"signers": len(r.signers), "deadlines": len(r.deadlines)}
	out := make([]Part, 0, len(many))
	for _, key := range Keys() {
		out = append(out, Part{key, many[key], !slices.Contains(r.own, key)})
	}
	return out
}

// Compile reads the rules in a policy document, whose root node, a mapping, and
// text are given; the text is what the columns are counted in. Where the
// document lacks one of the keys, that part of Default applies. With any problem
// there are no rules.
func Compile(root *yaml.Node, text []byte) (*Rules, []Problem) {
	return compile(root, text, Default())
}

func compile(root *yaml.Node, text []byte, base *Rules) (*Rules, []Problem) {
	r := &reader{text: newText(text)}
	rules := r.policy(root, *base)
	if len(r.problems) > 0 {
		return nil, r.problems
	}
	return rules, nil
}

//go:embed default.yaml
var defaultText []byte

// DefaultText returns the built-in rules as a person reads them: a document
// that may be copied and changed.
func DefaultText() string { return string(defaultText) }

// Default returns the built-in rules.
func Default() *Rules { return builtIn() }

// builtIn compiles what is compiled in. A fault in it is a fault of the program,
// which every test of this package meets.
var builtIn = sync.OnceValue(func() *Rules {
	var doc yaml.Node
	if err := yaml.Load(defaultText, &doc); err != nil {
		panic("default.yaml: " + err.Error())
	}
	rules, problems := compile(doc.Content[0], defaultText, &Rules{})
	if len(problems) > 0 {
		panic("default.yaml: " + problems[0].Path + ": " + problems[0].Detail)
	}
	rules.own = nil
	return rules
})
