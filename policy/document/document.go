// Package document reads a site's policy: one YAML file with its critical
// limits, the few settings that the judging of checks and lots needs, and the
// rules for what becomes of a lot in doubt.
//
// Everything that is not understood is refused with its line and column and
// with what is allowed there, all of it at once: a limit that is silently
// ignored is worse than a file that does not load.
package document

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"slices"
	"time"

	"go.yaml.in/yaml/v4"

	"lastgood/policy/clock"
	"lastgood/policy/disposition"
	"lastgood/policy/impact"
	"lastgood/policy/limit"
	"lastgood/policy/metrology"
	"lastgood/policy/rules"
	"lastgood/policy/unit"
)

// Severity is how badly a hazard can hurt somebody: minor, moderate, serious,
// fatal.
type Severity = impact.Severity

// Sudden is the model of when an error began that stands where a policy names
// none.
const Sudden = limit.Sudden

// Policy is a policy document that was understood as a whole.
type Policy struct {
	Limits       []limit.Limit // in the order of the document; several versions of a name never overlap
	DecisionRule metrology.Rule
	Onset        string              // limit.Sudden, limit.Gradual, limit.Delayed or limit.Event
	Severities   map[string]Severity // by hazard
	Beyond       unit.CelsiusDiff    // how far beyond the points of a check its error is still stated [K]
	KillSteps    []KillStep
	Regimes      []disposition.Regime // that govern the limits; none: nothing that missed is ever released
	Corroboration
	Escalation   Escalation
	OverdueGrace time.Duration // after the day on which a check was due
	// DeterminationWithin is how long product in doubt may be known to have left
	// before it is determined who must be told.
	DeterminationWithin time.Duration
	Rules               *rules.Rules // levels, routes, signers, deadlines
	Source              []byte       // the document as it was read

	toxins      map[string]bool // by hazard; not there: not said
	authorities []string        // nil: not said
	plantDays   clock.Calendar  // without its zone
	keys        []string        // that the document has
}

// Problem is one thing that is wrong with a document.
type Problem struct {
	Line, Column int    // from 1
	Path         string // limits[2].max_gap
	Rule         string // stable: unknown-key, missing-parameter, …
	Detail       string // a sentence that says what is allowed
}

// String returns "12:5: limits[2].max_gap: …".
func (p Problem) String() string {
	where := fmt.Sprintf("%d:%d: ", p.Line, p.Column)
	if p.Path != "" {
		where += p.Path + ": "
	}
	return where + p.Detail + " (" + p.Rule + ")"
}

// InForce returns the version of the limit called name that was in force at a
// time: on the production date, for a lot.
func (p *Policy) InForce(name string, at time.Time) (limit.Limit, bool) {
	for _, l := range p.Limits {
		if l.Name == name && l.InForce(at) {
			return l, true
		}
	}
	return limit.Limit{}, false
}

// maxSize bounds a document [bytes]: a thousand limits fit in a tenth of it.
const maxSize = 1 << 20

// Parse reads a policy document. With any problem there is no policy.
func Parse(b []byte) (*Policy, []Problem) {
	if len(b) > maxSize {
		return nil, []Problem{{1, 1, "", "too-large", "a policy document has at most 1 MiB"}}
	}
	root, problem := load(b)
	if problem != nil {
		return nil, []Problem{*problem}
	}
	r := &reader{}
	p := &Policy{
		DecisionRule: metrology.DefaultRule(), Onset: Sudden, Beyond: metrology.DefaultBeyond,
		Severities: map[string]Severity{}, toxins: map[string]bool{}, Corroboration: Corroboration{DefaultWithin}, Source: slices.Clone(b),
	}
	r.policy(root, p)
	if len(r.problems) > 0 {
		return nil, r.inOrder()
	}
	return p, nil
}

// load returns the root of the one document in b.
func load(b []byte) (*yaml.Node, *Problem) {
	loader, err := yaml.NewLoader(bytes.NewReader(b))
	if err != nil {
		return nil, syntax(err)
	}
	var doc, more yaml.Node
	err = loader.Load(&doc)
	switch {
	case errors.Is(err, io.EOF):
		return nil, empty()
	case err != nil:
		return nil, syntax(err)
	case len(doc.Content) != 1 || isNull(doc.Content[0]):
		return nil, empty()
	}
	switch err := loader.Load(&more); {
	case errors.Is(err, io.EOF):
		return doc.Content[0], nil
	case err != nil:
		return nil, syntax(err)
	}
	return nil, &Problem{max(more.Line, 1), max(more.Column, 1), "", "two-documents", "a policy is one document: there is another behind it"}
}

func empty() *Problem {
	return &Problem{1, 1, "", "empty", "the document is empty: it needs at least limits"}
}

// syntax turns an error of the YAML library into a problem.
func syntax(err error) *Problem {
	p := Problem{1, 1, "", "not-yaml", "the document is not YAML: " + err.Error()}
	var at *yaml.LoadError
	if errors.As(err, &at) {
		p.Line, p.Column = max(at.Mark.Line, 1), max(at.Mark.Column, 1)
		p.Detail = "the document is not YAML: " + at.Message
	}
	return &p
}
