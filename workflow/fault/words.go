package fault

import "strings"

// Words writes a list of words for a sentence: joined with commas.
func Words[S ~string](list []S) string {
	var b strings.Builder
	for i, s := range list {
		if i > 0 {
			b.WriteString(", ")
		}
		b.WriteString(string(s))
	}
	return b.String()
}
