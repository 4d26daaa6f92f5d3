package series

import (
	"math"
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"lastgood/policy/unit"
)

// anySamples draws a record in no order, with many equal times. Each T is the
// place the sample was drawn at, so that samples can be told apart.
func anySamples(t *rapid.T) []Sample {
	times := rapid.SliceOfN(rapid.Int64Range(-3, 3), 0, 40).Draw(t, "times")
	s := make([]Sample, len(times))
	for i, at := range times {
		s[i] = Sample{At: at, T: unit.Micro(i)}
	}
	return s
}

// TestSort: a sorted record has the same samples in order of time, those of one
// time as they came, and is accepted.
func TestSort(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		drawn := anySamples(t)
		sorted := slices.Clone(drawn)
		Sort(sorted)
		for i := 1; i < len(sorted); i++ {
			a, b := sorted[i-1], sorted[i]
			if a.At > b.At || a.At == b.At && a.T >= b.T {
				t.Fatalf("%v comes before %v", a, b)
			}
		}
		if err := (Series{Samples: sorted}).Check(); err != nil {
			t.Fatalf("sorted, but refused: %v", err)
		}
		back := slices.Clone(sorted)
		slices.SortFunc(back, func(a, b Sample) int { return int(a.T - b.T) })
		if diff := cmp.Diff(drawn, back); diff != "" {
			t.Fatalf("sorting changed the samples (-drawn +sorted):\n%s", diff)
		}
	})
}

// TestCheck: a record is refused just where its time first goes backwards, and
// the message counts readings from one, as people do.
func TestCheck(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		name  string
		times []int64
		want  string
	}{
		{name: "empty"},
		{name: "one", times: []int64{5}},
		{name: "in order", times: []int64{-5, 0, 5}},
		{name: "equal times are kept", times: []int64{5, 5, 5}},
		{name: "the ends of time", times: []int64{math.MinInt64, math.MaxInt64}},
		{name: "backwards", times: []int64{5, 4}, want: "reading 2 is before reading 1"},
		{name: "backwards later", times: []int64{1, 2, 2, 1, 0}, want: "reading 4 is before reading 3"},
		{name: "back by all of time", times: []int64{math.MaxInt64, math.MinInt64}, want: "reading 2 is before reading 1"},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			s := Series{Scale: unit.CelsiusScale}
			for _, at := range c.times {
				s.Samples = append(s.Samples, Sample{At: at, T: unit.Unknown})
			}
			err := s.Check()
			if (err == nil) != (c.want == "") || err != nil && !strings.Contains(err.Error(), c.want) {
				t.Errorf("%v: %v, want %q", c.times, err, c.want)
			}
		})
	}
}

// TestCheckRefusesJustTheUnsorted: Check and the order of time agree.
func TestCheckRefusesJustTheUnsorted(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		s := anySamples(t)
		inOrder := slices.IsSortedFunc(s, func(a, b Sample) int { return int(a.At - b.At) })
		if err := (Series{Samples: s}).Check(); (err == nil) != inOrder {
			t.Fatalf("%v in order: %v, but Check says %v", s, inOrder, err)
		}
	})
}
