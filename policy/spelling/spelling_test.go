package spelling_test

import (
	"testing"

	"pgregory.net/rapid"

	"lastgood/policy/spelling"
)

func TestSlips(t *testing.T) {
	t.Parallel()
	for _, x := range []struct {
		a, b string
		want int
	}{{"", "", 0}, {"cook", "cook", 0}, {"cook", "cool", 1}, {"chil", "chill", 1}, {"retort", "", 6}, {"kitten", "sitting", 3}} {
		if got := spelling.Slips(x.a, x.b); got != x.want {
			t.Errorf("%q to %q: %d slips, want %d", x.a, x.b, got, x.want)
		}
	}
}

// TestSlipsIsADistance: the same both ways, none only to itself, and no way round
// is shorter.
func TestSlipsIsADistance(t *testing.T) {
	t.Parallel()
	word := rapid.StringMatching(`[a-d]{0,6}`)
	rapid.Check(t, func(t *rapid.T) {
		a, b, c := word.Draw(t, "a"), word.Draw(t, "b"), word.Draw(t, "c")
		ab := spelling.Slips(a, b)
		if ab != spelling.Slips(b, a) || (ab == 0) != (a == b) || ab > spelling.Slips(a, c)+spelling.Slips(c, b) {
			t.Fatalf("%q %q %q: %d", a, b, c, ab)
		}
	})
}
