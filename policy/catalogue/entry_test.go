package catalogue

import (
	"fmt"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"lastgood/policy/limit"
	"lastgood/policy/unit"
)

// TestNames: names are lower-case words with hyphens, in order, and everything
// that a person needs to find the source is there.
func TestNames(t *testing.T) {
	t.Parallel()
	word := regexp.MustCompile(`^[a-z0-9]+([.-][a-z0-9]+)*$`)
	names := Names()
	if !slices.IsSorted(names) || len(names) < 150 {
		t.Errorf("%d names, sorted %v", len(names), slices.IsSorted(names))
	}
	for _, n := range names {
		e := find(t, n)
		if !word.MatchString(n) || e.Name != n || e.Title == "" || e.Citation == "" || len(e.Rows) == 0 || len(e.Parameters) == 0 {
			t.Errorf("%s: %+v", n, e)
		}
		if l := made(t, e); strings.Contains(l.Text+e.Mark()+e.Note+e.Caution, "safe") {
			t.Errorf("%s says safe", n)
		}
	}
}

// TestMark: the text of a limit says whose figures it has, which of them nobody
// saw, and what it leaves out.
func TestMark(t *testing.T) {
	t.Parallel()
	for name, mark := range map[string]string{
		"food-code-cold-holding-5-c":  " (Food Code 3-501.16(A)(2))",
		"fsis-cook-meat-6.5-log":      " (FSIS 2021-12, Table 2; humidity and come-up time are conditions that this check does not see)",
		"cfr-318.23-cook-patty-5-log": " (9 CFR 318.23(b)(1); from memory, to be confirmed)",
		"fsis-stabilisation-3": " (FSIS 2021-12, Appendix B, Option 3; from memory, to be confirmed; " +
			"100 ppm ingoing nitrite and 250 ppm erythorbate or ascorbate are conditions that this check does not see)",
	} {
		if got := find(t, name).Mark(); got != mark {
			t.Errorf("%s: %q, want %q", name, got, mark)
		}
	}
}

// TestParameters: they read as a plant would have typed them.
func TestParameters(t *testing.T) {
	t.Parallel()
	got := [][]Parameter{find(t, "uk-chilled-botulinum-p90-10").Parameters, find(t, "fsis-stabilisation-1").Parameters}
	want := [][]Parameter{
		{{Name: "reference", Value: "90 C"}, {Name: "z", Value: "10 K"}, {Name: "minutes", Value: "10"}, {Name: "from", Value: "90 C"}},
		{{Name: "stages", Rows: [][]string{{"130 F", "80 F", "1.5h"}, {"80 F", "40 F", "5h"}}}},
	}
	if d := cmp.Diff(want, got); d != "" {
		t.Error(d)
	}
}

// TestFindErrors: an error names what was probably meant.
func TestFindErrors(t *testing.T) {
	t.Parallel()
	for name, want := range map[string]string{
		"fsis-cook-chiken-7-log-fat-5":   "did you mean fsis-cook-chicken-7-log-fat-5",
		"FSIS-Cook-Meat-6.5-Log":         "did you mean fsis-cook-meat-6.5-log",
		"fsis-cook-chicken-7-log-fat-13": "did you mean fsis-cook-chicken-7-log-fat-",
		"food-code-cooling":              "did you mean food-code-cooling-57-21-5-c, food-code-cooling-135-70-41-f",
		"":                               `no ""`,
		"x":                              `no "x"`,
	} {
		_, err := Find(name)
		if err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%q: %v, want %q", name, err, want)
		}
	}
	for _, name := range []string{"", "x"} {
		if _, err := Find(name); strings.Contains(err.Error(), "mean") {
			t.Errorf("%q: %v", name, err)
		}
	}
}

// TestOpen: what the plant still writes, and nothing of the source's.
func TestOpen(t *testing.T) {
	t.Parallel()
	for name, want := range map[string][]string{
		"fsis-cook-meat-6.5-log":      {"max_gap"},
		"food-code-cold-holding-5-c":  {"max_gap"}, // and no allow: the Food Code allows nothing above 5 C
		"retort-f0-3-c":               {"max_gap", "from"},
		"uk-chilled-botulinum-p90-10": {"max_gap"},
	} {
		var got []string
		for _, p := range find(t, name).Open() {
			got = append(got, p.Name)
		}
		if d := cmp.Diff(want, got); d != "" {
			t.Errorf("%s: %s", name, d)
		}
	}
}

// TestWith: the source's figures stand whatever is put beside them.
func TestWith(t *testing.T) {
	t.Parallel()
	e := find(t, "pmo-milk-htst-161-f-15s")
	v := e.With(limit.Values{
		Temperature: map[string]unit.Temperature{"at_least": temperature(t, "100 F"), "at_most": temperature(t, "200 F")},
		Duration:    map[string]time.Duration{"for": time.Second, "max_gap": 2 * time.Second},
	})
	if v.Temperature["at_least"] != temperature(t, "161 F") || v.Duration["for"] != 15*time.Second || v.Duration["max_gap"] != 2*time.Second ||
		v.Temperature["at_most"] != temperature(t, "200 F") {
		t.Errorf("%+v", v)
	}
	if again := find(t, "pmo-milk-htst-161-f-15s"); len(again.Values.Duration) != 1 || len(again.Values.Temperature) != 1 {
		t.Errorf("the entry itself was changed: %+v", again.Values)
	}
}

// TestReadRefuses: a fault in a data file does not pass in silence.
func TestReadRefuses(t *testing.T) {
	t.Parallel()
	entry := func(s string) string {
		return "- short: s\n  citation: c\n  entries:\n    - {name: n, title: t, confidence: high, " + s + "}\n"
	}
	for text, want := range map[string]string{
		entry("kind: hold, with: {at_least: 161, for: 15s}"):                          "at_least",
		entry("kind: hold, with: {at_least: 161 F, for: 15}"):                         "for",
		entry("kind: hold, with: {at_lest: 161 F, for: 15s}"):                         "does not have",
		entry("kind: hold, table: [[ID, 161 F, 15s]]"):                                "does not have",
		entry("kind: dwell_table, table: [[ID, 161 F]]"):                              "cells",
		entry("kind: dwell_table, with: {table: 3}"):                                  "single value",
		entry("kind: holds"):                                                          "holds",
		entry("kind: hold, wiht: {}"):                                                 "wiht",
		entry("kind: at_most, with: {temperature: 5 C}") + entry("kind: at_least"):    "twice",
		entry("kind: lethality, with: {reference: 121.1 C, z: ten, minutes: 3}"):      "z",
		entry("kind: lethality, with: {reference: 121.1 C, z: 10 K, minutes: a few}"): "minutes",
		entry("kind: dwell_table, table: [[ID, 161 F, soon]]"):                        "table",
		entry("kind: dwell_table, table: [[ID, 161 of them, 15s]]"):                   "table",
	} {
		if err := read([]byte(text), map[string]Entry{}); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%s: %v, want %q", text, err, want)
		}
	}
}

// TestHigherFatAsksForMore: a fat content between two is on the right side with
// the higher one, but for the rows that doc.go names.
func TestHigherFatAsksForMore(t *testing.T) {
	t.Parallel()
	falls := map[string]time.Duration{}
	for _, species := range []string{"chicken", "turkey"} {
		for fat := 1; fat < 12; fat++ {
			lower := find(t, fmt.Sprintf("fsis-cook-%s-7-log-fat-%d", species, fat)).Values.Rows["table"]
			higher := find(t, fmt.Sprintf("fsis-cook-%s-7-log-fat-%d", species, fat+1)).Values.Rows["table"]
			for i, r := range lower {
				if higher[i].Time < r.Time {
					falls[fmt.Sprintf("%s %s from %d %%", species, r.Temperatures[0], fat)] = r.Time - higher[i].Time
				}
			}
		}
	}
	want := map[string]time.Duration{ // FSIS 2021-12, Tables 3 and 4
		"chicken 151 F from 1 %": 6 * time.Second, "turkey 150 F from 1 %": 6 * time.Second, "turkey 151 F from 1 %": 6 * time.Second,
	}
	if d := cmp.Diff(want, falls); d != "" {
		t.Error(d)
	}
}
