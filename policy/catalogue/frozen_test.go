package catalogue

import (
	"crypto/sha256"
	"flag"
	"fmt"
	"os"
	"strings"
	"testing"
)

var update = flag.Bool("update", false, "add entries that are new to testdata/frozen.txt; those that are there stay")

// digest is a fingerprint of what an entry makes a limit ask.
func digest(e Entry) string {
	return fmt.Sprintf("%x", sha256.Sum256(fmt.Append(nil, e.Kind.Name, e.Parameters)))[:16]
}

// TestFrozen: a policy names an entry and is read again for years, so an entry
// that was once there stays there and asks the same. frozen.txt has each with
// its fingerprint; a line of it is never changed, only added to.
func TestFrozen(t *testing.T) {
	t.Parallel()
	const file = "testdata/frozen.txt"
	b, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	frozen := map[string]bool{}
	for line := range strings.Lines(string(b)) {
		name, was, _ := strings.Cut(strings.TrimSpace(line), " ")
		frozen[name] = true
		e, err := Find(name)
		if err != nil {
			t.Errorf("%s is gone: policies may name it", name)
			continue
		}
		if now := digest(e); now != was {
			t.Errorf("%s asks something else than it did (%s, was %s): a changed figure needs a new name", name, now, was)
		}
	}
	for _, name := range Names() {
		if frozen[name] {
			continue
		}
		if !*update {
			t.Errorf("%s is new: go test ./policy/catalogue -run TestFrozen -update", name)
			continue
		}
		b = fmt.Appendf(b, "%s %s\n", name, digest(find(t, name)))
	}
	if *update {
		if err := os.WriteFile(file, b, 0o644); err != nil {
			t.Fatal(err)
		}
	}
}
