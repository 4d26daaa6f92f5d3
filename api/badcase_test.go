package api

import (
	"cmp"
	"encoding/csv"
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/go-json-experiment/json"
)

// table reads a file of a case as objects without the empty values; none if
// there is no such file.
func table(t *testing.T, dir, name string) (list []map[string]any) {
	t.Helper()
	b, err := os.ReadFile(filepath.Join(dir, name+".csv"))
	if os.IsNotExist(err) {
		return nil
	}
	if err != nil {
		t.Fatal(err)
	}
	all, err := csv.NewReader(strings.NewReader(string(b))).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	for _, r := range all[1:] {
		item := map[string]any{}
		for n, column := range all[0] {
			if r[n] != "" {
				item[column] = r[n]
			}
		}
		list = append(list, item)
	}
	return list
}

// grouped puts rows that are points of one thing together; pointColumns are
// those of a point.
func grouped(list []map[string]any, pointColumns ...string) []map[string]any {
	var out []map[string]any
	at := map[string]int{}
	for _, r := range list {
		point := map[string]any{}
		for _, c := range pointColumns {
			if v, ok := r[c]; ok {
				point[c] = v
				delete(r, c)
			}
		}
		k := fmt.Sprint(r)
		if _, ok := at[k]; !ok {
			at[k] = len(out)
			r["points"] = []any{}
			out = append(out, r)
		}
		h := out[at[k]]
		h["points"] = append(h["points"].([]any), point)
	}
	return out
}

var expectation = regexp.MustCompile(`^([a-z]+)[a-z.]*:(\d+):([a-z_]*):([a-z-]+)$`)

// TestBadCasesOverHTTP: every bad case folder, sent over the interface, is
// refused by the rule that its own expectation names, and on the same row.
func TestBadCasesOverHTTP(t *testing.T) {
	t.Parallel()
	found, err := filepath.Glob("../testdata/cases/bad/*/expected.txt")
	if err != nil || len(found) == 0 {
		t.Fatalf("no bad cases: %v", err)
	}
	for _, name := range found {
		dir := filepath.Dir(name)
		t.Run(filepath.Base(dir), func(t *testing.T) {
			t.Parallel()
			text, err := os.ReadFile(name)
			if err != nil {
				t.Fatal(err)
			}
			said := sendCase(t, dir)
			for want := range strings.Lines(string(text)) {
				m := expectation.FindStringSubmatch(strings.TrimSpace(want))
				if m == nil {
					t.Fatalf("%q is no expectation", want)
				}
				if !slices.ContainsFunc(said, func(s string) bool { return expected(s, m) }) {
					t.Errorf("nothing of %s in %v", want, said)
				}
			}
		})
	}
}

// expected says whether a fault, "readings:3:unit:unknown-unit", is the expected
// one. Only a reading is known by its line; the others by place in their list.
func expected(fault string, want []string) bool {
	if want[4] == "missing-file" { // over the interface a missing policy is an empty one
		return strings.HasPrefix(fault, "policy:")
	}
	parts := strings.Split(fault, ":")
	return parts[0] == want[1] && parts[2] == want[3] && parts[3] == want[4] &&
		(want[1] != "readings" || want[2] == parts[1])
}

// sendCase sends a folder and returns what was wrong with it.
func sendCase(t *testing.T, dir string) (said []string) {
	t.Helper()
	p := newPlant(t)
	note := func(name, body string) {
		var doc BrokenUpload
		if err := json.Unmarshal([]byte(body), &doc); err != nil || doc.Status >= 500 || doc.Rule == "" && len(doc.Refused) == 0 && doc.AcceptedRows == 0 {
			t.Fatalf("%s: %v\n%s", name, err, body)
		}
		for _, f := range doc.Errors {
			field := f.Location[strings.LastIndexAny(f.Location, ".")+1:]
			if !strings.Contains(f.Location, ".") {
				field = ""
			}
			said = append(said, fmt.Sprintf("%s:%d:%s:%s", name, f.Line, field, f.Rule))
		}
		for _, r := range doc.Refused {
			said = append(said, name+":"+strconv.Itoa(r.Line)+":"+r.Field+":"+r.Rule)
		}
	}
	policy, err := os.ReadFile(filepath.Join(dir, "policy.yaml"))
	if err != nil && !os.IsNotExist(err) {
		t.Fatal(err)
	}
	if res, body := p.call("PUT", "/v1/policy", cmp.Or(string(policy), "\n"), "Content-Type", asYAML, "If-Match", `"v1"`); res.StatusCode >= 300 {
		said = append(said, "policy:"+body)
	} else if res.StatusCode == 202 {
		p.agrees(got[DraftBody](p, res, body, 202))
	}
	for _, kind := range []string{"instruments", "certificates", "products", "lots", "stays", "transformations", "shipments"} {
		list := table(t, dir, kind)
		if kind == "certificates" {
			list = grouped(list, "at", "correction", "expanded_uncertainty")
		}
		if res, body := p.call("POST", "/v1/"+kind, jsonText(t, map[string]any{"items": list})); len(list) > 0 && res.StatusCode >= 300 {
			note(kind, body)
		} else if len(list) > 0 { // what closes a cycle is not refused here: it is put aside
			for _, q := range got[CountsBody](p, res, body, 201).Quarantined {
				said = append(said, fmt.Sprintf("%s:0:%s:%s", kind, q.Location[strings.LastIndexAny(q.Location, ".")+1:], q.Rule))
			}
		}
	}
	name, encoding := "readings.csv", ""
	if _, err := os.Stat(filepath.Join(dir, name)); err != nil {
		name, encoding = "readings.csv.gz", "gzip"
	}
	b, err := os.ReadFile(filepath.Join(dir, name))
	if err != nil {
		t.Fatal(err)
	}
	_, body := p.uploads("case", "text/csv", string(b), "Content-Encoding", encoding)
	note("readings", body)
	checks := table(t, dir, "checks")
	checks = grouped(checks, "point", "nominal", "reference", "reference_reading", "reference_uncertainty", "pressure_kpa", "found", "left", "unit")
	if res, body := p.call("POST", "/v1/happenings", jsonText(t, map[string]any{"checks": checks})); res.StatusCode >= 300 {
		note("checks", body)
	}
	return said
}

func jsonText(t *testing.T, v any) string {
	t.Helper()
	b, err := json.Marshal(v)
	if err != nil {
		t.Fatal(err)
	}
	return string(b)
}
