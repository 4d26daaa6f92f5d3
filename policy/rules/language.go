package rules

import (
	"errors"
	"slices"
	"sync"

	"cel.dev/cel-go/cel"
	"cel.dev/cel-go/common/env"
	"cel.dev/cel-go/common/operators"
	"cel.dev/cel-go/common/overloads"
)

// The language is the part of CEL in which nothing can go wrong: comparing,
// combining, looking up in a list. It has no loops (macros), no regular
// expressions, no arithmetic (it can overflow), no conversions and no indexes
// (they can miss). So what compiles has a value for all facts, and the number
// of its words bounds what it costs; a limit on cost while evaluating would
// cost more than the evaluation.
var functions = []string{
	operators.LogicalAnd, operators.LogicalOr, operators.LogicalNot, operators.Conditional,
	operators.Equals, operators.NotEquals, operators.Less, operators.LessEquals,
	operators.Greater, operators.GreaterEquals, operators.In, overloads.StartsWith,
}

// functionList is the same as a person writes it.
const functionList = "a rule may compare (== != < <= > >=), combine (&& || ! ? :), look up (in [a, b]) and ask startsWith"

// The bounds of one condition.
const (
	maxCondition = 1000 // characters
	maxNodes     = 400  // words and operators
	maxDepth     = 40   // of brackets, less one
)

// environments are the facts and the language at each stage.
var environments = sync.OnceValue(func() [signerStage + 1]*cel.Env {
	var out [signerStage + 1]*cel.Env
	for s := levelStage; s <= signerStage; s++ {
		e, err := newEnvironment(s)
		if err != nil { // only a fault in this file or in the vocabulary
			panic("the language of the rules: " + err.Error())
		}
		out[s] = e
	}
	return out
})

func newEnvironment(s stage) (*cel.Env, error) {
	subset := env.NewLibrarySubset().SetDisableMacros(true)
	for _, f := range functions {
		subset.IncludeFunctions = append(subset.IncludeFunctions, env.NewFunction(f))
	}
	options := []cel.EnvOption{
		cel.StdLib(cel.StdLibSubset(subset)),
		cel.CrossTypeNumericComparisons(true),
		cel.ParserExpressionSizeLimit(maxCondition),
		cel.ExpressionNodeLimit(maxNodes),
		cel.ParserRecursionLimit(maxDepth),
		cel.ParserErrorRecoveryLimit(5),
	}
	for _, w := range vocabulary {
		if w.from <= s {
			options = append(options, cel.Variable(w.name, w.kind))
		}
	}
	return cel.NewCustomEnv(options...)
}

// fault is what is wrong at one place of a condition.
type fault struct {
	offset       int // characters from its start
	rule, detail string
}

// condition compiles the text of a condition. always is set where it holds
// whatever the facts are.
func condition(text string, s stage) (program cel.Program, always bool, faults []fault) {
	e := environments()[s]
	ast, issues := e.Compile(text)
	if issues.Err() != nil {
		return nil, false, explain(issues.Errors(), text, s)
	}
	c := &checker{text: text, stage: s, info: ast.NativeRep().SourceInfo()}
	c.check(ast.NativeRep().Expr())
	if len(c.faults) == 0 && !ast.OutputType().IsExactType(cel.BoolType) {
		c.faults = append(c.faults, fault{0, "not-boolean",
			"a condition is true or false, and this is " + plain(ast.OutputType().String()) + ": compare it with something, as in verdict == \"met\""})
	}
	if len(c.faults) > 0 {
		return nil, false, c.faults
	}
	program, err := e.Program(ast, cel.EvalOptions(cel.OptOptimize))
	if err != nil {
		return nil, false, []fault{{0, "not-valid", "the condition cannot be used: " + err.Error()}}
	}
	if c.facts > 0 {
		return program, false, nil
	}
	return constant(program)
}

// constant says what a condition without a fact in it is.
func constant(p cel.Program) (cel.Program, bool, []fault) {
	holds, err := line{program: p}.matches(newActivation(Facts{}))
	if err != nil || !holds {
		return nil, false, []fault{{0, "never-matches", "this condition is never true: it names no fact that could make it so"}}
	}
	return p, true, nil
}

// errNotBoolean cannot come from a condition that compiled.
var errNotBoolean = errors.New("it is neither true nor false")

// allowed says whether a call in a condition is one of the language.
func allowed(function string) bool { return slices.Contains(functions, function) }
