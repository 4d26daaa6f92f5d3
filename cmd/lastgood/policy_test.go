package main

import (
	"encoding/json"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"lastgood/policy/rules"
	"lastgood/workflow/pg/pgtest"
)

// policyFile writes a policy for a test.
func policyFile(t *testing.T, text string) string {
	t.Helper()
	file := filepath.Join(t.TempDir(), "new.yaml")
	if err := os.WriteFile(file, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	return file
}

const cookLimit = "limits: [{limit: cook-core, kind: at_least, temperature: 165 F, hazard: salmonella}]\nseverities: {salmonella: serious}\n"

func TestPolicyDefaultIsPrinted(t *testing.T) {
	t.Parallel()
	code, out, errs := lastgood("policy", "default")
	if code != exitClear || out != rules.DefaultText() || errs != "" {
		t.Errorf("%d, %q", code, errs)
	}
	// With limits of its own, it is a policy that can be put in force.
	code, out, errs = lastgood("policy", "check", policyFile(t, cookLimit+out))
	if code != exitClear || strings.Contains(out, "built in") || errs != "" {
		t.Errorf("%d, %s\n%s", code, out, errs)
	}
}

func TestPolicyCheckCounts(t *testing.T) {
	t.Parallel()
	file := policyFile(t, cookLimit+`rules: [{rule: all, when: "true", route: hold_and_retest, reason: all is held}]`+"\n")
	code, out, errs := lastgood("policy", "check", file)
	for _, want := range []string{"no problems", "limits     1 limit     the policy", "rules      1 rule      the policy", "levels     7 rules     built in",
		"decision_rule: simple", "corroboration: within 5m0s"} {
		if !strings.Contains(out, want) {
			t.Errorf("%q is not in\n%s", want, out)
		}
	}
	if code != exitClear || errs != "" || strings.Contains(out, "  severities:") {
		t.Errorf("%d, %s\n%s", code, errs, out)
	}
}

// TestPolicyCheckTellsAll: every problem with its place, and no verdict on the
// rest.
func TestPolicyCheckTellsAll(t *testing.T) {
	t.Parallel()
	file := policyFile(t, `limits: [{limit: cook-core, kind: at_least, temperature: 165}]
rules:
  - {rule: all, when: 'verdict == "good"', route: destory, reason: a slip}
`)
	for _, args := range [][]string{{"policy", "check", file}, {"policy", "try", file, filepath.Join(cases, "cook-worked")}} {
		code, out, errs := lastgood(args...)
		var places []string
		for line := range strings.Lines(errs) {
			if place, ok := strings.CutPrefix(line, file+":"); ok {
				places = append(places, place[:strings.Index(place, ": ")])
			}
		}
		if code != exitBad || out != "" || !slices.Equal(places, []string{"1:58", "3:35", "3:51"}) || !strings.Contains(errs, "\n3 problems\n") {
			t.Errorf("%s: %d, %s\n%s", args[1], code, out, errs)
		}
	}
	if code, _, errs := lastgood("policy", "check", file+".none"); code != exitBad || errs == "" {
		t.Errorf("no file: %d, %s", code, errs)
	}
}

func tryOn(t *testing.T, dir, text string, more ...string) (code int, out, errs string) {
	t.Helper()
	db := pgtest.DB(t)
	args := []string{"policy", "try", "--database-url", db.App, "--owner-url", db.Owner, policyFile(t, text), filepath.Join(cases, dir)}
	return lastgood(append(args, more...)...)
}

// TestPolicyTryTellsWhatDiffers: the rework chain has one lot, indeterminate and
// partly shipped.
func TestPolicyTryTellsWhatDiffers(t *testing.T) {
	t.Parallel()
	code, out, errs := tryOn(t, "rework-chain", cookLimit+`levels: [{rule: all, when: "true", level: 5, reason: we are careful}]`)
	if code != exitClear || !strings.Contains(out, "new.yaml would decide otherwise in 1 of 1 assessment.") ||
		!strings.Contains(out, "L-1  cook-core  INDETERMINATE  4 → 5  recall review  qa lead, plant manager, regulatory liaison  24 h: ") {
		t.Errorf("%d\n%s%s", code, out, errs)
	}
}

func TestPolicyTryInJSON(t *testing.T) {
	t.Parallel()
	// At 155 F the same readings are above the limit whatever the error was.
	code, out, errs := tryOn(t, "rework-chain", strings.Replace(cookLimit, "165 F", "155 F", 1), "--json")
	var r triedResult
	if err := json.Unmarshal([]byte(out), &r); err != nil || code != exitClear || r.Assessments != 1 || len(r.Differences) != 1 {
		t.Fatalf("%d, %v\n%s%s", code, err, out, errs)
	}
	d := r.Differences[0]
	if !slices.Equal(d.What, []string{"verdict", "level", "route", "signers", "deadlines"}) || d.Lot != "L-1" || *d.Limit != "cook-core" ||
		d.Was.Verdict != "indeterminate" || d.Would.Verdict != "met" || d.Was.Level != 4 || d.Would.Level != 1 || d.Would.Route != "release_with_record" {
		t.Errorf("%+v: %+v, %+v", d, d.Was, d.Would)
	}
}

// TestPolicyTryFindsNothing: its own policy decides the same; a policy without
// the limit that the readings name cannot be tried.
func TestPolicyTryFindsNothing(t *testing.T) {
	t.Parallel()
	own, err := os.ReadFile(filepath.Join(cases, "rework-chain", "policy.yaml"))
	if err != nil {
		t.Fatal(err)
	}
	if code, out, errs := tryOn(t, "rework-chain", string(own)); code != exitClear || !strings.Contains(out, "would decide the same of every lot: 1 assessment.") {
		t.Errorf("%d\n%s%s", code, out, errs)
	}
	code, out, errs := tryOn(t, "rework-chain", "limits: [{limit: other, kind: at_least, temperature: 165 F}]\n")
	if code != exitBad || out != "" || !strings.Contains(errs, "the policy has no limit cook-core") || !strings.Contains(errs, "do not go with ") {
		t.Errorf("%d\n%s%s", code, out, errs)
	}
}
