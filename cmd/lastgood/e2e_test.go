package main

import (
	"bytes"
	"context"
	"encoding/csv"
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"lastgood/api/exchange"
	"lastgood/workflow/pg/pgtest"
)

// TestMain runs the tests, or, as a child of one, the program itself.
func TestMain(m *testing.M) {
	if os.Getenv("LASTGOOD_TEST_AS_PROGRAM") != "" {
		main()
	}
	os.Exit(pgtest.Main(m))
}

// assess runs the program itself on a database of the test's own.
func assess(t *testing.T, args ...string) (code int, out, errs string) {
	t.Helper()
	db := pgtest.DB(t)
	var o, e bytes.Buffer
	all := append([]string{"assess", "--database-url", db.App, "--owner-url", db.Owner}, args...)
	code = run(context.Background(), all, &o, &e)
	return code, o.String(), e.String()
}

func assessJSON(t *testing.T, dir string) (int, exchange.Result) {
	t.Helper()
	code, out, errs := assess(t, "--json", dir)
	if code != exitClear && code != exitDoubt {
		t.Fatalf("%s: exit status %d\n%s", dir, code, errs)
	}
	var r exchange.Result
	if err := json.Unmarshal([]byte(out), &r); err != nil {
		t.Fatalf("%s: %v\n%s", dir, err, out)
	}
	return code, r
}

const cases = "../../testdata/cases"

// verdicts returns what a story says of its lots, and what came out, in one
// form: instrument, failed at, lot, limit, verdict.
func verdicts(t *testing.T, dir string, r exchange.Result) (want, got []string) {
	t.Helper()
	f, err := os.Open(filepath.Join(dir, "verdicts.csv"))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	for _, row := range rows[1:] {
		want = append(want, strings.Join(row, ","))
	}
	for _, d := range r.Deviations {
		for _, a := range d.Assessments {
			limit := ""
			if a.Limit != nil {
				limit = *a.Limit
			}
			got = append(got, strings.Join([]string{d.Instrument, d.FailedAt, a.Lot, limit, a.Verdict}, ","))
		}
	}
	slices.Sort(want)
	slices.Sort(got)
	return want, got
}

func TestStoriesComeOutAsTold(t *testing.T) {
	t.Parallel()
	files, err := filepath.Glob(filepath.Join(cases, "*", "verdicts.csv"))
	if err != nil || len(files) < 10 {
		t.Fatalf("stories: %d, %v", len(files), err)
	}
	for _, f := range files {
		dir := filepath.Dir(f)
		t.Run(filepath.Base(dir), func(t *testing.T) {
			t.Parallel()
			code, r := assessJSON(t, dir)
			want, got := verdicts(t, dir, r)
			if d := cmp.Diff(want, got); d != "" {
				t.Errorf("verdicts (-told +came out):\n%s", d)
			}
			doubt := slices.ContainsFunc(want, func(v string) bool { return !strings.HasSuffix(v, ",met") })
			if status := map[bool]int{true: exitDoubt, false: exitClear}[doubt]; code != status {
				t.Errorf("exit status %d, want %d", code, status)
			}
		})
	}
}

func TestBadFoldersAreToldRowByRow(t *testing.T) {
	t.Parallel()
	files, err := filepath.Glob(filepath.Join(cases, "bad", "*", "expected.txt"))
	if err != nil || len(files) < 13 {
		t.Fatalf("bad folders: %d, %v", len(files), err)
	}
	for _, f := range files {
		dir := filepath.Dir(f)
		t.Run(filepath.Base(dir), func(t *testing.T) {
			t.Parallel()
			b, err := os.ReadFile(f)
			if err != nil {
				t.Fatal(err)
			}
			code, out, errs := assess(t, "--json", dir)
			if code != exitBad {
				t.Fatalf("exit status %d, want %d\n%s%s", code, exitBad, out, errs)
			}
			var said struct {
				Problems   []exchange.Problem
				Deviations any
			}
			if err := json.Unmarshal([]byte(out), &said); err != nil {
				t.Fatal(err)
			}
			if said.Deviations != nil {
				t.Error("verdicts in spite of bad input")
			}
			var got []string
			for _, p := range said.Problems {
				got = append(got, fmt.Sprintf("%s:%d:%s:%s", p.File, p.Line, p.Column, p.Rule))
				if !strings.Contains(errs, p.Detail) {
					t.Errorf("the text does not say %q", p.Detail)
				}
			}
			if d := cmp.Diff(strings.Fields(string(b)), got); d != "" {
				t.Errorf("problems (-want +got):\n%s\n%s", d, errs)
			}
		})
	}
}
