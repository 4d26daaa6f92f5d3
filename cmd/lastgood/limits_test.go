package main

import (
	"bytes"
	"context"
	"encoding/json"
	"strings"
	"testing"

	"lastgood/policy/catalogue"
	"lastgood/policy/document"
)

// limitsOf runs the command.
func limitsOf(t *testing.T, args ...string) (code int, out, errs string) {
	t.Helper()
	var o, e bytes.Buffer
	code = run(context.Background(), append([]string{"limits"}, args...), &o, &e)
	return code, o.String(), e.String()
}

// TestLimitsList: every ready-made limit is listed, and what the figures are
// worth is said.
func TestLimitsList(t *testing.T) {
	t.Parallel()
	code, out, errs := limitsOf(t)
	if code != exitClear || errs != "" || !strings.Contains(out, "The cited edition and the plant's process authority decide") {
		t.Fatalf("%d, %s", code, errs)
	}
	for _, name := range catalogue.Names() {
		if !strings.Contains(out, "\n"+name+" ") {
			t.Errorf("%s is not listed", name)
		}
	}
	var listed struct {
		Limits []limitItem `json:"limits"`
	}
	_, out, _ = limitsOf(t, "--json")
	if err := json.Unmarshal([]byte(out), &listed); err != nil || len(listed.Limits) != len(catalogue.Names()) {
		t.Errorf("%d in JSON, %v", len(listed.Limits), err)
	}
}

// TestLimitsOne: one limit is shown with its table, its source, what it leaves
// out and how to use it.
func TestLimitsOne(t *testing.T) {
	t.Parallel()
	code, out, _ := limitsOf(t, "fsis-stabilisation-3")
	for _, want := range []string{
		"kind: cooling", "  [130 F, 80 F, 5h]\n", "use: fsis-stabilisation-3, max_gap: ", "USDA FSIS Stabilization Guideline",
		"from memory", "250 ppm erythorbate", "FSISB21-3-027, FSISB21-3-028", "process authority decide",
	} {
		if !strings.Contains(out, want) {
			t.Errorf("%q is not in\n%s", want, out)
		}
	}
	if code != exitClear {
		t.Error(code)
	}
	var one struct {
		Limit   limitItem `json:"limit"`
		Caution string    `json:"caution"`
	}
	_, out, _ = limitsOf(t, "pmo-milk-htst-161-f-15s", "--json")
	if err := json.Unmarshal([]byte(out), &one); err != nil || one.Limit.Kind != "hold" || one.Limit.FromMemory || one.Caution == "" ||
		len(one.Limit.Parameters) != 2 || strings.Join(one.Limit.YouWrite, " ") != "max_gap" {
		t.Errorf("%+v, %v", one, err)
	}
	if code, _, errs := limitsOf(t, "pmo-milk-htst-161"); code != exitBad || !strings.Contains(errs, "did you mean pmo-milk-htst-161-f-15s") {
		t.Errorf("%d, %s", code, errs)
	}
}

// TestLimitsShowWhatWorks: the line that the command shows for a policy is a
// policy, for every limit.
func TestLimitsShowWhatWorks(t *testing.T) {
	t.Parallel()
	for _, name := range catalogue.Names() {
		_, out, _ := limitsOf(t, name)
		_, line, _ := strings.Cut(out, "In policy.yaml:\n")
		line, _, _ = strings.Cut(line, "\n")
		if _, problems := document.Parse([]byte("limits:\n" + line + "\n")); len(problems) > 0 {
			t.Errorf("%s: %v", name, problems)
		}
	}
}
