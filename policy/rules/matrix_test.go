package rules

import (
	"fmt"
	"os"
	"slices"
	"strings"
	"testing"
)

// rows returns the rows of a golden matrix, each with the heading that it stands
// under.
func rows(t *testing.T, name string) (out [][2]string) {
	t.Helper()
	b, err := os.ReadFile("../../testdata/golden/" + name)
	if err != nil {
		t.Fatal(err)
	}
	heading := ""
	for row := range strings.Lines(string(b)) {
		row = strings.TrimSuffix(row, "\n")
		switch {
		case strings.HasPrefix(row, "#"):
			heading = row
		case row != "" && !strings.HasPrefix(row, "verdict "):
			out = append(out, [2]string{heading, row})
		}
	}
	return out
}

// TestLevelsAsInTheMatrix: the matrix that a quality manager reads is what the
// built-in document decides.
func TestLevelsAsInTheMatrix(t *testing.T) {
	t.Parallel()
	all := rows(t, "impact_matrix.txt")
	if len(all) != 320 {
		t.Fatalf("%d rows", len(all))
	}
	for _, row := range all {
		column := strings.Fields(strings.Replace(row[1], "in plant", "in_plant", 1))
		f := Facts{Verdict: column[0], MissedAsRecorded: column[1] == "missed", Severity: known(column[3]),
			KillStep: strings.Contains(row[0], "later step")}
		f.Shipped, f.InControl = where(column[2])
		for i, without := range []bool{false, true} {
			f.NoLastGood = without
			var got strings.Builder
			for _, f.ReadyToEat = range threeWay {
				for _, f.Vulnerable = range threeWay {
					o := Default().Evaluate(f)
					fmt.Fprint(&got, o.Level)
					if !slices.Contains(strings.Split(strings.Join(column[6:], ""), ","), o.LevelRule) {
						t.Errorf("%s: rule %s", row[1], o.LevelRule)
					}
				}
			}
			if got.String() != column[4+i] {
				t.Errorf("%s: levels %s", row[1], got.String())
			}
		}
	}
}

func TestRoutesAsInTheMatrix(t *testing.T) {
	t.Parallel()
	checked := 0
	for _, row := range rows(t, "routing_matrix.txt") {
		if strings.Contains(row[0], "Signers") {
			continue // by level and route, which TestDefaultDecidesAsTheTables has
		}
		checked++
		column := strings.Fields(strings.Replace(row[1], "in plant", "in_plant", 1))
		f := Facts{Verdict: column[0], Kind: known(column[2]), Severity: "minor", KillStep: strings.Contains(row[0], "later step")}
		f.Shipped, f.InControl = where(column[1])
		if column[3] == "grave" {
			f.Severity = "serious"
		}
		o := Default().Evaluate(f)
		if got := string(o.Route) + " (" + o.RouteRule + ")"; got != column[4]+" "+column[5] {
			t.Errorf("%s: got %s", row[1], got)
		}
	}
	if checked != 4*4*10*2+4*4 {
		t.Errorf("%d rows", checked)
	}
}

func known(word string) string { return strings.TrimPrefix(word, "?") }

func where(word string) (shipped, inControl bool) {
	return word == "shipped" || word == "both", word == "in_plant" || word == "both"
}
