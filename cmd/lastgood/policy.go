package main

import (
	"fmt"
	"io"
	"os"
	"strings"

	"lastgood/policy/document"
	"lastgood/policy/rules"
)

// policyCmd is about policy documents, before they are put in force.
type policyCmd struct {
	Check   policyCheckCmd   `cmd:"" help:"Say what is wrong with a policy, or what is in it."`
	Try     policyTryCmd     `cmd:"" help:"Say what a policy would decide otherwise on a case folder. Nothing is recorded."`
	Default policyDefaultCmd `cmd:"" help:"Print the built-in rules, to copy and change."`
}

// policyDefaultCmd prints the built-in rules.
type policyDefaultCmd struct{}

// Run prints the document.
func (policyDefaultCmd) Run(g *globals) error {
	_, err := io.WriteString(g.out, rules.DefaultText())
	return err
}

// policyCheckCmd reads a policy as it would be read when it is put in force.
type policyCheckCmd struct {
	File string `arg:"" help:"The policy, as in policy.yaml." type:"path"`
}

// Run reads the policy. It needs no database.
func (c *policyCheckCmd) Run(g *globals) error {
	p, err := readPolicy(g, c.File)
	if p == nil || err != nil {
		return err
	}
	out := &printer{w: g.out}
	out.line("%s: no problems", c.File)
	out.table("part|has|from", partsOf(p))
	if by := p.Defaults(); len(by) > 0 {
		out.line("\nIn force by default, since the policy does not say:")
		for _, d := range by {
			out.line("  %s: %s", d.Key, d.Value)
		}
	}
	return out.err
}

// readPolicy reads a policy and tells everything that is wrong with it; the
// policy is nil then.
func readPolicy(g *globals, file string) (*document.Policy, error) {
	text, err := os.ReadFile(file)
	if err != nil {
		return nil, usage{err}
	}
	p, problems := document.Parse(text)
	if len(problems) == 0 {
		return p, nil
	}
	g.code = exitBad
	for _, x := range problems {
		if _, err := fmt.Fprintf(g.err, "%s:%s\n", file, x); err != nil {
			return nil, err
		}
	}
	_, err = fmt.Fprintf(g.err, "%s\n", counted(len(problems), "problem"))
	return nil, err
}

// partsOf counts what a policy has, and says which parts are built in.
func partsOf(p *document.Policy) [][]string {
	rows := [][]string{{"limits", counted(len(p.Limits), "limit"), "the policy"}}
	for _, part := range p.Rules.Parts() {
		what, from := "rule", "the policy"
		if part.Key == "routes" {
			what = "meaning"
		}
		if part.BuiltIn {
			from = "built in"
		}
		rows = append(rows, []string{part.Key, counted(part.Rules, what), from})
	}
	return rows
}

func counted(n int, what string) string {
	if n == 1 {
		return "1 " + what
	}
	return fmt.Sprintf("%d %ss", n, strings.TrimSuffix(what, "s"))
}
