package rules

import (
	"bytes"
	"testing"

	"go.yaml.in/yaml/v4"
)

// FuzzCompile: no bytes stop the program; every problem has a place in the text;
// and what compiles decides, signs and keeps the guards.
func FuzzCompile(f *testing.F) {
	f.Add([]byte(released))
	f.Add([]byte("rules:\n  - rule: a\n    when: >-\n      verdict == \"met\" &&\n\n      shiped\n    route: destroy\n    reason: why\n"))
	f.Add([]byte(`deadlines: [{rule: a, when: "verdict == \x22met\" \
  && x", within: 1h, what: 'it''s'}]`))
	f.Add([]byte(inRule(`{"a": 1}.b[0](c) ? d : [e].exists(f, g)`)))
	f.Fuzz(func(t *testing.T, text []byte) {
		var doc yaml.Node
		if len(text) > 1<<14 || yaml.Load(text, &doc) != nil || len(doc.Content) != 1 {
			return
		}
		r, problems := Compile(doc.Content[0], text)
		lines := bytes.Count(text, []byte("\n")) + bytes.Count(text, []byte("\r")) + 1
		for _, p := range problems {
			if p.Line < 1 || p.Line > lines || p.Column < 1 || p.Rule == "" || p.Detail == "" || p.Path == "" {
				t.Fatalf("%+v in %d lines", p, lines)
			}
		}
		if (r == nil) != (len(problems) > 0) {
			t.Fatalf("rules %v with %d problems", r, len(problems))
		}
		if r == nil {
			return
		}
		for _, facts := range []Facts{{}, {Verdict: met, InControl: true}, {Verdict: missed, Shipped: true, Severity: "minor"}} {
			o := r.Evaluate(facts)
			if len(o.Signers) < 2 || o.RouteRule == failedName || o.Route == ReleaseWithRecord && facts.Verdict != met {
				t.Fatalf("%+v of %+v", o, facts)
			}
		}
	})
}
