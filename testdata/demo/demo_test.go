package demo

import (
	"bytes"
	"encoding/csv"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"
)

// record is a row of a table by the names of its columns.
type record map[string]string

func (r record) number(t *testing.T, column string) float64 {
	t.Helper()
	v, err := strconv.ParseFloat(r[column], 64)
	if err != nil {
		t.Fatalf("%s of %v: %v", column, r, err)
	}
	return v
}

func (r record) time(t *testing.T, column string) time.Time {
	t.Helper()
	v, err := time.Parse(time.RFC3339, r[column])
	if err != nil {
		t.Fatalf("%s of %v: %v", column, r, err)
	}
	return v
}

// tables reads what one Write wrote, once for all tests.
var tables = sync.OnceValues(func() (map[string][]record, error) {
	dir, err := os.MkdirTemp("", "demo-test-")
	if err != nil {
		return nil, err
	}
	defer func() { _ = os.RemoveAll(dir) }()
	if err := Write(dir); err != nil {
		return nil, err
	}
	names, err := filepath.Glob(filepath.Join(dir, "*.csv"))
	if err != nil {
		return nil, err
	}
	out := map[string][]record{}
	for _, name := range names {
		rows, err := readTable(name)
		if err != nil {
			return nil, err
		}
		out[strings.TrimSuffix(filepath.Base(name), ".csv")] = rows
	}
	return out, nil
})

func readTable(name string) ([]record, error) {
	b, err := os.ReadFile(name)
	if err != nil {
		return nil, err
	}
	rows, err := csv.NewReader(bytes.NewReader(b)).ReadAll()
	if err != nil {
		return nil, err
	}
	out := make([]record, 0, len(rows)-1)
	for _, row := range rows[1:] {
		r := make(record, len(row))
		for i, column := range rows[0] {
			if row[i] != "" {
				r[column] = row[i]
			}
		}
		out = append(out, r)
	}
	return out, nil
}

func table(t *testing.T, name string) []record {
	t.Helper()
	all, err := tables()
	if err != nil {
		t.Fatal(err)
	}
	if len(all[name]) == 0 {
		t.Fatalf("no rows in %s", name)
	}
	return all[name]
}

func TestCounts(t *testing.T) {
	t.Parallel()
	if n := len(table(t, "readings")); n < 280_000 || n > 320_000 {
		t.Errorf("%d readings, want about 300,000", n)
	}
	perLogger := map[string]int{}
	for _, r := range table(t, "readings") {
		if r["limit"] == limitChill {
			perLogger[r["instrument"]]++
		}
	}
	if len(perLogger) != 6 || perLogger["CL-01"] != days*24*60 {
		t.Errorf("loggers %v: want six, and a reading a minute for %d days", perLogger, days)
	}
}

func TestTwoRunsAreTheSame(t *testing.T) {
	t.Parallel()
	a, b := t.TempDir(), t.TempDir()
	for _, dir := range []string{a, b} {
		if err := Write(dir); err != nil {
			t.Fatal(err)
		}
	}
	names, err := os.ReadDir(a)
	if err != nil || len(names) < 13 {
		t.Fatalf("%d files, %v", len(names), err)
	}
	for _, f := range names {
		one, err1 := os.ReadFile(filepath.Join(a, f.Name()))
		two, err2 := os.ReadFile(filepath.Join(b, f.Name()))
		if err1 != nil || err2 != nil || !bytes.Equal(one, two) {
			t.Errorf("%s differs between two runs (%v, %v)", f.Name(), err1, err2)
		}
	}
}

// TestNamesAreKnown: every instrument and every lot that a file names is in its
// own table.
func TestNamesAreKnown(t *testing.T) {
	t.Parallel()
	instruments, lots := map[string]bool{"": true}, map[string]bool{"": true}
	for _, r := range table(t, "instruments") {
		instruments[r["instrument"]] = true
	}
	for _, r := range table(t, "lots") {
		if lots[r["lot"]] {
			t.Errorf("lot %s twice", r["lot"])
		}
		lots[r["lot"]] = true
	}
	for _, name := range []string{"certificates", "events", "mountings", "checks", "stays", "transformations", "shipments", "readings"} {
		for _, r := range table(t, name) {
			if !instruments[r["instrument"]] || !instruments[r["reference"]] || !lots[r["lot"]] || !lots[r["input_lot"]] || !lots[r["output_lot"]] {
				t.Fatalf("%s names something unknown: %v", name, r)
			}
		}
	}
}

// TestMassBalances: nothing ships or is reworked that was not there.
func TestMassBalances(t *testing.T) {
	t.Parallel()
	left := map[string]float64{}
	for _, r := range table(t, "lots") {
		left[r["lot"]] = r.number(t, "quantity")
	}
	for _, r := range table(t, "shipments") {
		left[r["lot"]] -= r.number(t, "quantity")
	}
	into := map[string]float64{}
	for _, r := range table(t, "transformations") {
		left[r["input_lot"]] -= r.number(t, "input_quantity")
		into[r["output_lot"]] += r.number(t, "output_quantity")
	}
	for lot, n := range left {
		if n < 0 {
			t.Errorf("%s: %v kg more went out than there was", lot, -n)
		}
	}
	for _, r := range table(t, "lots") {
		if n, made := into[r["lot"]]; made && n != r.number(t, "quantity") {
			t.Errorf("%s: made of %v kg, weighs %s", r["lot"], n, r["quantity"])
		}
	}
}
