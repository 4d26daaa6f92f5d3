package rules

import "testing"

// BenchmarkEvaluate: one lot by the whole of the built-in document.
func BenchmarkEvaluate(b *testing.B) {
	lots := []struct {
		name  string
		facts Facts
	}{
		{"first", Facts{Verdict: met, InControl: true, Kind: "at_least", Severity: "serious"}},
		{"last", Facts{Verdict: indeterminate, InControl: true, Kind: "at_least", Severity: "minor", NoLastGood: true}},
	}
	r := Default()
	for _, lot := range lots {
		b.Run(lot.name, func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				r.Evaluate(lot.facts)
			}
		})
	}
}

// BenchmarkCompile: the whole of the built-in document, as at an upload.
func BenchmarkCompile(b *testing.B) {
	b.ReportAllocs()
	for b.Loop() {
		good(b, DefaultText())
	}
}
