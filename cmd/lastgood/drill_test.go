package main

import (
	"bytes"
	"context"
	"encoding/json"
	"net/http/httptest"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"lastgood/api"
	"lastgood/api/exchange"
	"lastgood/workflow"
	"lastgood/workflow/key"
	"lastgood/workflow/pg"
	"lastgood/workflow/pg/pgtest"
)

// lastgood runs the program and returns its exit status and what it printed.
func lastgood(args ...string) (code int, out, errs string) {
	var o, e bytes.Buffer
	code = run(context.Background(), args, &o, &e)
	return code, o.String(), e.String()
}

// drill runs the program on a folder and a database of the test's own.
func drill(t *testing.T, args ...string) (code int, out, errs string) {
	t.Helper()
	db := pgtest.DB(t)
	return lastgood(append([]string{"drill", "--database-url", db.App, "--owner-url", db.Owner}, args...)...)
}

func TestDrillOnAFolder(t *testing.T) {
	t.Parallel()
	dir := filepath.Join(cases, "all-good")
	supposed := []string{dir, "--instrument", "P-1", "--error", "4F", "--at", "2026-08-05T06:00:00-05:00"}
	code, out, errs := drill(t, append(supposed, "--json")...)
	var d exchange.DrillResult
	if err := json.Unmarshal([]byte(out), &d); err != nil || code != 0 {
		t.Fatalf("exit status %d, %v\n%s%s", code, err, out, errs)
	}
	// 168.2 F less the 4 F misses 165 F.
	if len(d.Deviations) != 1 || d.Totals.Lots != 1 || d.Totals.Verdicts.Met != 0 || d.Totals.InControl.Lots != 0 || d.Totals.Shipped.Quantities[0].Quantity != "100" {
		t.Errorf("%+v", d.Totals)
	}
	code, out, errs = drill(t, supposed...)
	if code != 0 || strings.Count(out, "*** DRILL: nothing was recorded, held or routed ***") != 2 || !strings.Contains(out, "Would be held: 0 lots") ||
		strings.Contains(out, "\nHeld") || !strings.Contains(out, "Shipped: 1 lots, 100 kg, in 1 shipments to 1 consignees (Ostrel Grocers).") {
		t.Errorf("exit status %d\n%s%s", code, out, errs)
	}
	// The end of the folder is after the last check: nothing was read since.
	code, out, errs = drill(t, dir, "--instrument", "P-1", "--point", "169F:4", "--json")
	if err := json.Unmarshal([]byte(out), &d); err != nil || code != 0 || d.Totals.Lots != 0 {
		t.Errorf("exit status %d, %v\n%s%s", code, err, out, errs)
	}
	code, out, errs = drill(t, dir, "--instrument", "P-1", "--intervals")
	if code != 0 || !strings.Contains(out, "7 (now)") || !strings.Contains(out, "Suggested: ") {
		t.Errorf("exit status %d\n%s%s", code, out, errs)
	}
}

func TestWhatIsNoDrill(t *testing.T) {
	t.Parallel()
	dir := filepath.Join(cases, "all-good")
	for says, args := range map[string][]string{
		"name the instrument":        {dir},
		"give --key":                 {"P-1"},
		"write a number and a unit":  {dir, "--instrument", "P-1", "--error", "4"},
		"write all of them in one":   {dir, "--instrument", "P-1", "--point", "1C:1", "--point", "1F:1"},
		"has no offset":              {dir, "--instrument", "P-1", "--at", "2026-08-05T06:00:00"},
		"there is no instrument P-9": {dir, "--instrument", "P-9", "--error", "4F"},
		"would pass":                 {dir, "--instrument", "P-1", "--error", "0.5F"},
		"no drill was run":           {filepath.Join(cases, "bad", "nan"), "--instrument", "P-1"},
	} {
		if code, out, errs := drill(t, args...); code != exitBad || !strings.Contains(errs, says) {
			t.Errorf("%v: exit status %d\n%s%s", args, code, out, errs)
		}
	}
}

// TestDrillInAnInstallation imports a folder into one and asks it.
func TestDrillInAnInstallation(t *testing.T) {
	t.Parallel()
	server, secret := installed(t, "Harrowden Pantry", "America/Chicago")
	to := []string{"--server", server, "--key", secret}
	if code, out, errs := lastgood("import", filepath.Join(cases, "all-good"), "--url", server, "--key", secret); code != 0 {
		t.Fatalf("%d\n%s%s", code, out, errs)
	}
	for says, args := range map[string][]string{
		"Would be held: 0 lots":        {"drill", "P-1", "--error", "4F", "--at", "2026-08-05T06:00:00-05:00"},
		"7 (now)":                      {"drill", "P-1", "--intervals"},
		"every 7 days":                 {"due"},
		`"instrument": "P-2"`:          {"due", "--json"},
		"3 instruments to check, ":     {"due"},
		`"drill": "DRILL: nothing was`: {"drill", "P-1", "--json"},
	} {
		if code, out, errs := lastgood(append(args, to...)...); code != 0 || !strings.Contains(out, says) {
			t.Errorf("%v: exit status %d, want %q\n%s%s", args, code, says, out, errs)
		}
	}
	if code, _, errs := lastgood("due", "--server", server, "--key", "lg_wrong"); code != exitBad || !strings.Contains(errs, "key") {
		t.Errorf("exit status %d: %s", code, errs)
	}
}

// installed serves an installation with one plant and returns a key to it.
func installed(t *testing.T, name, zone string) (server, secret string) {
	t.Helper()
	db, err := pg.Open(t.Context(), pgtest.DB(t).App, time.Now)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { db.Close() })
	svc, err := workflow.New(db)
	if err != nil {
		t.Fatal(err)
	}
	id, err := svc.Plant(t.Context(), name, zone, nil)
	if err != nil {
		t.Fatal(err)
	}
	if secret, err = svc.AddKey(t.Context(), pg.Scope{Plant: id, By: operator}, "test", key.Scopes, time.Now().Add(time.Hour)); err != nil {
		t.Fatal(err)
	}
	srv := httptest.NewServer(api.New(svc, api.Options{}))
	t.Cleanup(srv.Close)
	return srv.URL, secret
}
