//go:build linux

// Package scenarios runs stories: text files in the trade's language, each told
// through the interface of a real server with a real database and a clock that the
// story sets. What can be said stands in README.md.
package scenarios

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"lastgood/workflow/pg/pgtest"
)

func TestMain(m *testing.M) { os.Exit(pgtest.Main(m)) }

func TestStories(t *testing.T) {
	t.Parallel()
	files, err := filepath.Glob("*.txt")
	if err != nil || len(files) == 0 {
		t.Fatalf("no stories: %v", err)
	}
	for _, file := range files {
		t.Run(strings.TrimSuffix(file, ".txt"), func(t *testing.T) {
			t.Parallel()
			text, err := os.ReadFile(file)
			if err != nil {
				t.Fatal(err)
			}
			lines, err := parse(string(text))
			if err != nil {
				t.Fatalf("%s:%v", file, err)
			}
			tell(t, file, lines)
		})
	}
}

// tell runs a story line by line. A refusal has to be expected by the line after
// it, and by no other.
func tell(t *testing.T, file string, lines []line) {
	s := open(t, lines)
	s.understands = parse
	for _, l := range lines {
		s.at = l
		s.where = file
		if s.refused != nil && !strings.HasPrefix(l.text, "expect refused") {
			s.unexpected()
		}
		s.now.Add(int64(tick))
		l.does(s, l.said)
		if !strings.HasPrefix(l.text, "expect") {
			s.traceWhatIsDue()
		}
	}
	if s.refused != nil {
		s.unexpected()
	}
	s.always()
}
