package rules

import "strings"

// nearest returns the fact that a person may have meant, or nothing: one that
// the name begins, as ready_to_eat does ready_to_eat_or_unknown, or one that
// differs by a slip or two.
func nearest(name string, s stage) string {
	best, least := "", 3
	for _, n := range names(s) {
		if len(name) > 3 && strings.HasPrefix(n, name) {
			return n
		}
		if d := slips(name, n); d < least {
			best, least = n, d
		}
	}
	return best
}

// slips counts the letters that must be added, dropped or changed to make b of
// a.
func slips(a, b string) int {
	row := make([]int, len(b)+1)
	for j := range row {
		row[j] = j
	}
	for i := range len(a) {
		diagonal := row[0]
		row[0] = i + 1
		for j := range len(b) {
			change := diagonal
			if a[i] != b[j] {
				change++
			}
			diagonal = row[j+1]
			row[j+1] = min(change, row[j]+1, diagonal+1)
		}
	}
	return row[len(b)]
}
