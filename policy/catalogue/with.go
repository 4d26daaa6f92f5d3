package catalogue

import (
	"maps"

	"lastgood/policy/limit"
)

// With returns the values of e with those of the plant beside them.
func (e Entry) With(own limit.Values) limit.Values {
	return limit.Values{
		Temperature: joined(e.Values.Temperature, own.Temperature),
		Difference:  joined(e.Values.Difference, own.Difference),
		Duration:    joined(e.Values.Duration, own.Duration),
		Number:      joined(e.Values.Number, own.Number),
		Rows:        joined(e.Values.Rows, own.Rows),
		Word:        joined(e.Values.Word, own.Word),
	}
}

// joined puts what the source fixes over what the plant wrote: whatever a
// caller forgets to refuse, the source's figure stands.
func joined[V any](fixed, own map[string]V) map[string]V {
	out := make(map[string]V, len(fixed)+len(own))
	maps.Copy(out, own)
	maps.Copy(out, fixed)
	return out
}
