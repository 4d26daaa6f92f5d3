package rules

import (
	"strings"

	"lastgood/policy/spelling"
)

// nearest returns the fact that a person may have meant, or nothing: one that
// the name begins, as ready_to_eat does ready_to_eat_or_unknown, or one that
// differs by a slip or two.
func nearest(name string, s stage) string {
	best, least := "", 3
	for _, n := range names(s) {
		if len(name) > 3 && strings.HasPrefix(n, name) {
			return n
		}
		if d := spelling.Slips(name, n); d < least {
			best, least = n, d
		}
	}
	return best
}
