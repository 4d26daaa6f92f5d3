package api

import (
	"slices"
	"testing"
)

const asYAML = "application/yaml"

// tryPolicy asks for a trial.
func (p *plant) tryPolicy(path, text string) (b TrialBody) {
	p.t.Helper()
	res, body := p.call("POST", path, text, "Content-Type", asYAML)
	p.decode(res, body, &b)
	return b
}

// TestTrialTellsWhatWouldDiffer: newCase has L-1 indeterminate and L-2 met, under
// the built-in rules; nothing is recorded by asking.
func TestTrialTellsWhatWouldDiffer(t *testing.T) {
	t.Parallel()
	p := newCase(t)
	const limits = "limits: [{limit: cook-core, kind: at_least, temperature: 160 F}]\n"
	b := p.tryPolicy("/v1/policy/trial", limits)
	if b.Deviations != 1 || b.Assessments != 2 || b.WithoutFacts != 0 || b.Differing != 0 || len(b.Differences) != 0 {
		t.Errorf("the same rules: %+v", b)
	}
	const stricter = limits + `
rules:
  - {rule: met, when: verdict == "met", route: release_with_record, reason: met}
  - {rule: rest, when: "true", route: destroy, reason: we take no chances}
`
	b = p.tryPolicy("/v1/policy/trial", stricter)
	if b.Differing != 1 || len(b.Differences) != 1 {
		t.Fatalf("%+v", b)
	}
	d := b.Differences[0]
	if d.Lot != "L-1" || d.Deviation != 1 || d.Run != 1 || d.Limit == nil || *d.Limit != "cook-core" || d.Verdict != "indeterminate" ||
		!slices.Equal(d.What, []string{"route"}) || d.Was.Route != "hold_and_retest" || d.Would.Route != "destroy" || d.Would.RouteRule != "rest" {
		t.Errorf("%+v", d)
	}
	all := p.tryPolicy("/v1/policy/trial?limit=1", limits+`deadlines: [{rule: all, when: "true", within: 1h, what: look}]`)
	if all.Differing != 2 || len(all.Differences) != 1 || !slices.Equal(all.Differences[0].What, []string{"deadlines"}) {
		t.Errorf("%+v", all)
	}
	var now PolicyBody
	if p.get("/v1/policy", &now); now.Text == stricter {
		t.Error("the trial put the policy in force")
	}
	var dev DeviationBody
	if p.get("/v1/deviations/1", &dev); dev.Run != 1 {
		t.Errorf("the trial traced: run %d", dev.Run)
	}
}

func TestTrialOfAFaultyPolicy(t *testing.T) {
	t.Parallel()
	p := newPlant(t)
	const text = "limits: [{limit: a, kind: at_least, temperature: 5 C}]\nrules:\n  - {rule: a, when: shiped, route: rework, reason: again}\n"
	for method, path := range map[string]string{"POST": "/v1/policy/trial", "PUT": "/v1/policy"} {
		res, body := p.call(method, path, text, "Content-Type", asYAML)
		doc := p.refused(res, body, 422, "policy-refused")
		if len(doc.Errors) != 1 || doc.Errors[0].Line != 3 || doc.Errors[0].Location != "rules[0].when" || doc.Errors[0].Rule != "unknown-fact" {
			t.Errorf("%s: %+v", path, doc.Errors)
		}
	}
	res, body := p.call("POST", "/v1/policy/trial", text, "Content-Type", "application/json")
	p.refused(res, body, 415, "media-type")
}

// TestWhoSignsAndByWhen: what the rules ask for is in the assessment.
func TestWhoSignsAndByWhen(t *testing.T) {
	t.Parallel()
	p := newCase(t)
	var b BasisBody
	p.get("/v1/deviations/1/assessment?lot=L-1&under=cook-core", &b)
	a := b.Assessment
	if len(a.Signers) != 2 || len(a.Signatures) != 2 || a.RouteMeans == "" {
		t.Fatalf("%+v", a)
	}
	for i, s := range a.Signatures {
		if s.Role != a.Signers[i] || s.Meaning == "" {
			t.Errorf("signer %d: %s, %+v", i, a.Signers[i], s)
		}
	}
	if len(a.Deadlines) != 1 || a.Deadlines[0].WithinHours != 168 || a.Deadlines[0].Rule != "decide-on-held" {
		t.Errorf("%+v", a.Deadlines)
	}
}
