package main

import (
	"bytes"
	"context"
	"regexp"
	"strings"
	"testing"

	"lastgood/workflow/pg/pgtest"
)

// TestPeopleByTheCommandLine: the first administrator is made here.
func TestPeopleByTheCommandLine(t *testing.T) {
	t.Parallel()
	db := pgtest.DB(t)
	do := func(want int, args ...string) string {
		t.Helper()
		var o, e bytes.Buffer
		if code := run(context.Background(), append(args, "--database-url", db.App, "--owner-url", db.Owner), &o, &e); code != want {
			t.Fatalf("%v: exit status %d\n%s", args, code, e.String())
		}
		return o.String() + e.String()
	}
	const plant = "Tallow Mere Kitchens"
	oneTime := regexp.MustCompile(`^([A-Z2-7]{4}-){3}[A-Z2-7]{4}\n$`)
	do(exitClear, "plant", "add", "--name", plant, "--time-zone", "UTC")
	add := []string{"person", "add", "--plant", plant, "--name", "A. B. Sample", "--title", "Title"}
	first := do(exitClear, append(add, "--code", "admin-1", "--roles", "administrator")...)
	do(exitClear, append(add, "--code", "pcqi-1", "--roles", "qa_lead,qualified_person", "--qualified-by", "PCQI", "--reference", "course 7", "--qualified-until", "2099-01-01")...)
	for want, args := range map[string][]string{
		"needs a qualification": {"--code", "pcqi-2", "--roles", "qualified_person"}, "holds no other role": {"--code", "admin-2", "--roles", "administrator,verifier"},
		"never used again": {"--code", "Admin-1"}, "there is no role chef": {"--code", "x", "--roles", "chef"},
	} {
		if said := do(exitBad, append(add, args...)...); !strings.Contains(said, want) {
			t.Errorf("%v: %s", args, said)
		}
	}
	again := do(exitClear, "person", "reset", "--plant", plant, "admin-1")
	if !oneTime.MatchString(first) || !oneTime.MatchString(again) || first == again {
		t.Errorf("%q %q", first, again)
	}
	do(exitClear, "person", "leave", "--plant", plant, "pcqi-1")
	list := do(exitClear, "person", "list", "--plant", plant)
	if !regexp.MustCompile(`(?m)^admin-1 +A\. B\. Sample +Title +administrator *$`).MatchString(list) ||
		!regexp.MustCompile(`(?m)^pcqi-1 .* 20\d\d-`).MatchString(list) || strings.Count(list, "\n") != 3 {
		t.Errorf("%s", list)
	}
}
