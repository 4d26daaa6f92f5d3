package main

import (
	"bytes"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/go-json-experiment/json"

	"lastgood/api"
)

// TestImportLeavesAnotherPolicyToTwoPeople: a folder whose policy differs is
// imported and judged by the one in force.
func TestImportLeavesAnotherPolicyToTwoPeople(t *testing.T) {
	t.Parallel()
	server, secret := installed(t, "Harrowden Pantry", "America/Chicago")
	first := filepath.Join(cases, "all-good")
	if code, out, errs := lastgood("import", first, "--url", server, "--key", secret); code != 0 || strings.Contains(out, "draft") {
		t.Fatalf("%d\n%s%s", code, out, errs)
	}
	dir := filepath.Join(t.TempDir(), "plant")
	if err := os.CopyFS(dir, os.DirFS(first)); err != nil {
		t.Fatal(err)
	}
	file := filepath.Join(dir, "policy.yaml")
	text, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(file, append(text, "\noverdue_grace: 24h\n"...), 0o600); err != nil {
		t.Fatal(err)
	}
	for range 2 { // the same again makes no other draft
		code, out, errs := lastgood("import", dir, "--url", server, "--key", secret)
		if code != 0 || !strings.HasPrefix(out, "policy: the folder's differs from version 1, which is in force and goes on deciding; draft 1 waits for two signatures\n") ||
			!strings.Contains(out, server+"/v1/policy/drafts/1\n") || !strings.Contains(out, "0 deviations opened") {
			t.Errorf("%d\n%s%s", code, out, errs)
		}
	}
	c := &client{base: server, key: secret, http: http.DefaultClient}
	b, err := c.send(t.Context(), "GET", "/v1/policy", "", nil)
	if err != nil {
		t.Fatal(err)
	}
	var now api.PolicyBody
	if err := json.Unmarshal(b, &now); err != nil || now.Version != 1 || !bytes.Equal([]byte(now.Text), text) {
		t.Errorf("version %d is in force, %v", now.Version, err)
	}
}
