package fault

import "testing"

// TestWords: a list reads as words of a sentence, never as a slice.
func TestWords(t *testing.T) {
	t.Parallel()
	for want, list := range map[string][]Kind{"": nil, "invalid": {Invalid}, "invalid, not found, busy": {Invalid, NotFound, Busy}} {
		if got := Words(list); got != want {
			t.Errorf("%q, want %q", got, want)
		}
	}
}
