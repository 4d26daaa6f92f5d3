// Package cases checks that the small case folders are what their stories say:
// complete, tied to their published numbers, and bad only where they mean to be.
// What the engine makes of them is tested where the engine is.
package cases

import (
	"encoding/csv"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"
)

var required = []string{"site.yaml", "policy.yaml", "instruments.csv", "checks.csv", "readings.csv"}

// folders lists the case folders under a folder.
func folders(t *testing.T, under string) []string {
	t.Helper()
	found, err := filepath.Glob(filepath.Join(under, "*", "story.md"))
	if err != nil || len(found) == 0 {
		t.Fatalf("no cases in %s: %v", under, err)
	}
	for i := range found {
		found[i] = filepath.Dir(found[i])
	}
	return found
}

// table reads a CSV file of a case as rows by column.
func table(t *testing.T, name ...string) []map[string]string {
	t.Helper()
	b, err := os.ReadFile(filepath.Join(name...))
	if err != nil {
		t.Fatal(err)
	}
	rows, err := csv.NewReader(strings.NewReader(string(b))).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	var out []map[string]string
	for _, row := range rows[1:] {
		r := map[string]string{}
		for i, column := range rows[0] {
			r[column] = row[i]
		}
		out = append(out, r)
	}
	return out
}

func number(t *testing.T, s string) float64 {
	t.Helper()
	v, err := strconv.ParseFloat(s, 64)
	if err != nil {
		t.Fatal(err)
	}
	return v
}

// TestGoodCases: complete, and their verdicts name lots, checks and limits that
// are there.
func TestGoodCases(t *testing.T) {
	t.Parallel()
	verdicts := []string{"met", "indeterminate", "missed", "unknown"}
	for _, dir := range folders(t, ".") {
		t.Run(dir, func(t *testing.T) {
			t.Parallel()
			for _, name := range required {
				if _, err := os.Stat(filepath.Join(dir, name)); err != nil {
					t.Error(err)
				}
			}
			lots, checks := map[string]bool{}, map[string]bool{}
			for _, r := range table(t, dir, "lots.csv") {
				lots[r["lot"]] = true
			}
			for _, r := range table(t, dir, "checks.csv") {
				checks[r["instrument"]+r["performed_at"]] = true
			}
			if _, err := os.Stat(filepath.Join(dir, "events.csv")); err == nil {
				for _, r := range table(t, dir, "events.csv") { // an adjustment without an as-found opens one too
					checks[r["instrument"]+r["at"]] = true
				}
			}
			policy, err := os.ReadFile(filepath.Join(dir, "policy.yaml"))
			if err != nil {
				t.Fatal(err)
			}
			for _, r := range table(t, dir, "verdicts.csv") {
				if !lots[r["lot"]] || !checks[r["instrument"]+r["failed_at"]] || !slices.Contains(verdicts, r["verdict"]) ||
					!regexp.MustCompile(`limit: `+regexp.QuoteMeta(r["limit"])+`\s*[,\n]`).Match(policy) {
					t.Errorf("verdict of something unknown: %v", r)
				}
			}
		})
	}
}

var problem = regexp.MustCompile(`^([a-z.]+):(\d+):([a-z_]*):([a-z-]+)$`)

// TestBadCases: each names the place of its problem, and the place exists.
func TestBadCases(t *testing.T) {
	t.Parallel()
	for _, dir := range folders(t, "bad") {
		t.Run(filepath.Base(dir), func(t *testing.T) {
			t.Parallel()
			b, err := os.ReadFile(filepath.Join(dir, "expected.txt"))
			if err != nil {
				t.Fatal(err)
			}
			for line := range strings.Lines(string(b)) {
				m := problem.FindStringSubmatch(strings.TrimSpace(line))
				if m == nil {
					t.Fatalf("%q is not file:line:column:rule", line)
				}
				checkPlace(t, dir, m[1], int(number(t, m[2])), m[3], m[4])
			}
		})
	}
}

func checkPlace(t *testing.T, dir, file string, line int, column, rule string) {
	t.Helper()
	b, err := os.ReadFile(filepath.Join(dir, file))
	if rule == "missing-file" {
		if !os.IsNotExist(err) {
			t.Errorf("%s should be missing: %v", file, err)
		}
		return
	}
	if err != nil {
		t.Fatal(err)
	}
	if line == 0 || strings.HasSuffix(file, ".gz") {
		return // the file as a whole, or text that cannot be counted here
	}
	lines := strings.Split(strings.TrimSuffix(string(b), "\n"), "\n")
	if line > len(lines) || !slices.Contains(strings.Split(lines[0], ","), column) {
		t.Errorf("%s has no line %d or no column %s", file, line, column)
	}
}

// TestRetortIsThePublishedRun: the sum of the lethal rates times the step is
// what the source prints.
func TestRetortIsThePublishedRun(t *testing.T) {
	t.Parallel()
	const published = 21.68993687 // min; published/thermal/f0_examples_summary.csv, F0-01
	for _, dir := range []string{"retort-high", "retort-low"} {
		sum := 0.0
		for _, r := range table(t, dir, "readings.csv") {
			sum += 5 * math.Pow(10, (number(t, r["value"])-250)/18)
		}
		if math.Abs(sum-published) > 1e-8 {
			t.Errorf("%s: F = %.8f min, published %.8f", dir, sum, published)
		}
	}
}

// TestWorkedNumbers: the bounds of the worked readings, as the stories print
// them; worked by hand, reading − largest error − U to reading − smallest + U.
func TestWorkedNumbers(t *testing.T) {
	t.Parallel()
	tests := []struct {
		dir  string
		want []string
	}{
		{"cook-worked", []string{"160.2..163.4", "158.9..162.1", "157.2..160.4", "156.6..159.8"}},
		{"chill-worked", []string{"39.6..42.1", "38.1..40.6"}},
	}
	for _, tt := range tests {
		t.Run(tt.dir, func(t *testing.T) {
			t.Parallel()
			lo, hi := math.Inf(1), math.Inf(-1)
			const u = 0.5 // °F, expanded; the reference's, as the stories say
			for _, r := range table(t, tt.dir, "checks.csv") {
				e := number(t, r["found"]) - number(t, r["reference_reading"])
				lo, hi = min(lo, e), max(hi, e)
				if r["reference_uncertainty"] != "0.5" {
					t.Errorf("uncertainty %s, want %v", r["reference_uncertainty"], u)
				}
			}
			var got []string
			for _, r := range table(t, tt.dir, "readings.csv") {
				v := number(t, r["value"])
				got = append(got, fmt.Sprintf("%.1f..%.1f", v-hi-u, v-lo+u))
			}
			if !slices.Equal(got, tt.want) {
				t.Errorf("bounds %v, want %v", got, tt.want)
			}
		})
	}
}
