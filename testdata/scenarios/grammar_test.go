//go:build linux

package scenarios

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// TestEverySentenceIsSaid: what no story says is not needed, and what README.md
// does not list nobody finds.
func TestEverySentenceIsSaid(t *testing.T) {
	t.Parallel()
	readme, err := os.ReadFile("README.md")
	if err != nil {
		t.Fatal(err)
	}
	files, err := filepath.Glob("*.txt")
	if err != nil || len(files) == 0 {
		t.Fatal(files, err)
	}
	var told []string
	for _, f := range files {
		text, err := os.ReadFile(f)
		if err != nil {
			t.Fatal(err)
		}
		for l := range strings.SplitSeq(string(text), "\n") {
			told = append(told, strings.TrimSpace(l))
		}
	}
	patterns := grammar()
	for n, s := range sentences() {
		if !strings.Contains(string(readme), "\n"+s.form+"\n") {
			t.Errorf("README.md does not list: %s", s.form)
		}
		said := false
		for _, l := range told {
			said = said || patterns[n].MatchString(l)
		}
		if !said {
			t.Errorf("no story says: %s", s.form)
		}
	}
}

// TestWhatIsNotUnderstood: a line that means nothing ends the reading of a story,
// and says where.
func TestWhatIsNotUnderstood(t *testing.T) {
	t.Parallel()
	for text, want := range map[string]string{
		"at 2026-03-02 06:00\n\nann sings": `3: nobody understands "ann sings"`,
		"gate allows":                      `1: nobody understands "gate allows"`,
	} {
		if _, err := parse(text); err == nil || !strings.HasPrefix(err.Error(), want) {
			t.Errorf("%q: %v", text, err)
		}
	}
	lines, err := parse("# a remark\n gate refuses \"L 1\" portion p7 with on-hold \n")
	if err != nil || len(lines) != 1 || lines[0].number != 2 || lines[0].said["lot"] != "L 1" || lines[0].said["portion"] != "p7" || lines[0].said["rule"] != "on-hold" {
		t.Errorf("%+v %v", lines, err)
	}
}
