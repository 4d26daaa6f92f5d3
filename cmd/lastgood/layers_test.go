package main

import (
	"encoding/json"
	"errors"
	"io"
	"os/exec"
	"slices"
	"strings"
	"testing"
)

// TestLayers: cmd → api → workflow → policy, and never back. policy computes and
// does nothing else, so that its verdicts can be recomputed by anyone; packages
// below fault, actor and unit import nothing of ours.
func TestLayers(t *testing.T) {
	t.Parallel()
	for _, p := range packages(t) {
		for _, imported := range p.Imports {
			if why := forbidden(p.name(), imported); why != "" {
				t.Errorf("%s imports %s: %s", p.name(), imported, why)
			}
		}
	}
}

const module = "lastgood/"

// mayImport lists what a part of ours may import of ours.
var mayImport = map[string][]string{
	"cmd":        {"cmd", "api", "workflow", "policy", "migrations", "testdata"}, // testdata: the demo plant
	"api":        {"api", "workflow", "policy"},
	"workflow":   {"workflow", "policy"},
	"policy":     {"policy"},
	"migrations": {},
}

// pure is what policy may not import: a clock, I/O and randomness come in as
// arguments or not at all.
var pure = []string{"os", "net", "log", "math/rand", "database", "io/fs", "syscall"}

// leaves import nothing of ours.
var leaves = []string{"workflow/fault", "workflow/actor", "policy/unit", "migrations"}

func forbidden(pkg, imported string) string {
	part, _, _ := strings.Cut(pkg, "/")
	ours, isOurs := strings.CutPrefix(imported, module)
	switch {
	case isOurs && slices.Contains(leaves, pkg):
		return "it is a leaf and imports nothing of ours"
	case isOurs && ours == "migrations" && pkg == "workflow/pg/pgtest":
		return "" // tests only: it migrates the databases that it lends
	case isOurs:
		to, _, _ := strings.Cut(ours, "/")
		if !slices.Contains(mayImport[part], to) {
			return part + " stands below " + to
		}
	case part == "policy":
		for _, p := range pure {
			if imported == p || strings.HasPrefix(imported, p+"/") {
				return "policy does no I/O and knows no clock"
			}
		}
	case part != "cmd" && imported == "github.com/alecthomas/kong":
		return "the command line belongs to cmd"
	}
	return ""
}

// TestLayersCanFail: the rules above do refuse what they are there to refuse.
func TestLayersCanFail(t *testing.T) {
	t.Parallel()
	for _, c := range [][2]string{
		{"policy/limit", module + "workflow/lot"}, {"policy/limit", "os"}, {"policy/unit", module + "policy/series"},
		{"workflow", module + "api/exchange"}, {"api/exchange", module + "cmd/lastgood"}, {"workflow/pg", module + "migrations"},
		{"policy/metrology", "math/rand/v2"}, {"workflow/fault", module + "workflow/actor"},
	} {
		if forbidden(c[0], c[1]) == "" {
			t.Errorf("%s may import %s", c[0], c[1])
		}
	}
}

type listed struct {
	ImportPath string
	Imports    []string
}

func (l listed) name() string { return strings.TrimPrefix(l.ImportPath, module) }

func packages(t *testing.T) []listed {
	t.Helper()
	cmd := exec.Command("go", "list", "-json=ImportPath,Imports", "./...")
	cmd.Dir = "../.."
	out, err := cmd.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	var all []listed
	for d := json.NewDecoder(out); ; {
		var p listed
		if err := d.Decode(&p); errors.Is(err, io.EOF) {
			break
		} else if err != nil {
			t.Fatal(err)
		}
		all = append(all, p)
	}
	if err := cmd.Wait(); err != nil {
		t.Fatal(err)
	}
	if len(all) < 15 {
		t.Fatalf("only %d packages listed", len(all))
	}
	return all
}
