package main

import (
	"encoding/json"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"lastgood/api/exchange"
)

// fallen is a folder in which the reference that every check was made with fails
// in the end. The rows are invented.
func fallen(t *testing.T) string {
	t.Helper()
	dir := t.TempDir()
	if err := os.CopyFS(dir, os.DirFS(filepath.Join(cases, "all-good"))); err != nil {
		t.Fatal(err)
	}
	f, err := os.OpenFile(filepath.Join(dir, "checks.csv"), os.O_APPEND|os.O_WRONLY, 0)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	for _, row := range []string{"2026-07-01T06:00:00-05:00,comparison,150.0,,150.0,0.2,,150.0,", "2026-07-01T06:00:00-05:00,comparison,180.0,,180.0,0.2,,180.0,",
		"2026-08-20T06:00:00-05:00,comparison,150.0,,150.0,0.2,,153.0,", "2026-08-20T06:00:00-05:00,comparison,180.0,,180.0,0.2,,183.0,"} {
		if _, err := f.WriteString("REF-1," + row + ",F,tech-1,tech-2,\n"); err != nil {
			t.Fatal(err)
		}
	}
	return dir
}

// assess answers what would come of everything, and says what it confirmed.
func TestAssessConfirmsCascadesAndSaysSo(t *testing.T) {
	t.Parallel()
	code, out, errs := assess(t, "--json", fallen(t))
	if code != exitDoubt || !strings.Contains(errs, "REF-1 fell: cascade of 6 checks, 2 instruments and ") ||
		!strings.Contains(errs, "confirmed automatically: assess is a what-if") {
		t.Errorf("exit status %d\n%s", code, errs)
	}
	var r exchange.Result
	if err := json.Unmarshal([]byte(out), &r); err != nil {
		t.Fatal(err)
	}
	var in []string
	for _, d := range r.Deviations {
		in = append(in, d.Instrument)
		if d.Instrument != "REF-1" && len(d.Assessments) == 0 {
			t.Errorf("nothing of %s was assessed", d.Instrument)
		}
	}
	slices.Sort(in)
	if !slices.Equal(in, []string{"P-1", "P-2", "REF-1"}) {
		t.Errorf("deviations of %v", in)
	}
}

// import leaves them to a second person.
func TestImportSaysWhichCascadesWait(t *testing.T) {
	t.Parallel()
	server, secret := installed(t, "Harrowden Pantry", "America/Chicago")
	code, out, errs := lastgood("import", fallen(t), "--url", server, "--key", secret)
	if code != 0 || !strings.Contains(out, "1 deviations opened\n1 cascades wait") || !strings.Contains(out, "/v1/cascades/1\n") {
		t.Errorf("%d\n%s%s", code, out, errs)
	}
}
