// Package spelling counts slips, so that an error can offer what was meant.
package spelling

// Slips is how many letters have to be added, dropped or changed to make b of a
// (the Levenshtein distance, in bytes).
func Slips(a, b string) int {
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
