package main

import (
	"bytes"
	"context"
	"strings"
	"testing"
)

// TestBenchComparesTheSameWork runs the benchmark small: it refuses to print
// where the two sides have not stored the same rows. What it measures is no
// test's business.
func TestBenchComparesTheSameWork(t *testing.T) {
	t.Parallel()
	var out, errs bytes.Buffer
	if code := run(context.Background(), []string{"bench", "--rows", "10000", "--rounds", "1"}, &out, &errs); code != exitClear {
		t.Fatalf("exit status %d\n%s", code, errs.String())
	}
	for _, want := range []string{"ingest, whole command", "trace and judge, at_least", "upload over HTTP, NDJSON", "ship gate over HTTP"} {
		if !strings.Contains(out.String(), want) {
			t.Errorf("no line of %s in\n%s", want, out.String())
		}
	}
}
