package rules

import (
	"slices"

	"cel.dev/cel-go/common/ast"
	"cel.dev/cel-go/common/operators"
	"cel.dev/cel-go/common/types"
)

// checker walks a condition that is correct CEL and looks for what CEL allows
// and a rule does not, and for words that can never be.
type checker struct {
	text   string
	stage  stage
	info   *ast.SourceInfo
	facts  int // how many times a fact is named
	faults []fault
}

func (c *checker) problem(e ast.Expr, rule, detail string) {
	at := c.info.GetStartLocation(e.ID())
	c.faults = append(c.faults, fault{offset(c.text, at.Line(), at.Column()), rule, detail})
}

func (c *checker) check(e ast.Expr) {
	switch e.Kind() {
	case ast.LiteralKind:
	case ast.IdentKind:
		if _, ok := places[e.AsIdent()]; !ok {
			c.problem(e, "unknown-fact", unknownFact(e.AsIdent(), c.stage))
			return
		}
		c.facts++
	case ast.ListKind:
		for _, item := range e.AsList().Elements() {
			c.check(item)
		}
	case ast.CallKind:
		c.call(e)
	default: // a map, a message, a field, a loop
		c.problem(e, "not-supported", "this is not part of a rule: "+functionList)
	}
}

func (c *checker) call(e ast.Expr) {
	call := e.AsCall()
	if !allowed(call.FunctionName()) {
		c.problem(e, "not-supported", "this is not part of a rule: "+functionList)
		return
	}
	if call.IsMemberFunction() {
		c.check(call.Target())
	}
	for _, a := range call.Args() {
		c.check(a)
	}
	switch call.FunctionName() {
	case operators.Equals, operators.NotEquals, operators.In:
		c.words(call.Args()[0], call.Args()[1])
		c.words(call.Args()[1], call.Args()[0])
	}
}

// words refuses a text that a fact never is: a slip in it would make a rule
// that silently never matches.
func (c *checker) words(is, value ast.Expr) {
	if is.Kind() != ast.IdentKind {
		return
	}
	i, ok := places[is.AsIdent()]
	if !ok || vocabulary[i].words == nil {
		return
	}
	values := []ast.Expr{value}
	if value.Kind() == ast.ListKind {
		values = value.AsList().Elements()
	}
	for _, v := range values {
		if v.Kind() != ast.LiteralKind {
			continue
		}
		if s, ok := v.AsLiteral().(types.String); ok && !slices.Contains(vocabulary[i].words, string(s)) {
			c.problem(v, "unknown-word", vocabulary[i].name+" is never \""+string(s)+"\": it is "+oneOf(vocabulary[i].words))
		}
	}
}
