package main

import (
	"fmt"
	"io"
	"slices"
	"time"
)

// spent is what one measurement cost.
type spent struct {
	wall time.Duration
	cpu  time.Duration // of us, of psql and of the server together
}

// median returns the middle of what was spent, wall and CPU each by itself.
func median(list []spent) spent {
	pick := func(of func(spent) time.Duration) time.Duration {
		d := make([]time.Duration, len(list))
		for i, s := range list {
			d[i] = of(s)
		}
		slices.Sort(d)
		return (d[(len(d)-1)/2] + d[len(d)/2]) / 2
	}
	return spent{pick(func(s spent) time.Duration { return s.wall }), pick(func(s spent) time.Duration { return s.cpu })}
}

// ratio is ours against theirs in the sense of the target: speeds where more is
// better, times where less is.
func (k *contest) ratio(ours, theirs time.Duration) float64 {
	if k.atLeast {
		return float64(theirs) / float64(ours)
	}
	return float64(ours) / float64(theirs)
}

// goal is the target in words; a contest without one is only shown.
func (k *contest) goal() string {
	switch {
	case k.target == 0:
		return "-"
	case k.atLeast:
		return fmt.Sprintf(">= %.2f", k.target)
	}
	return fmt.Sprintf("<= %.2f", k.target)
}

// met says whether the median's ratio reaches the target, and whether every
// round agrees: on a busy machine they often do not.
func (k *contest) met(ratio, lo, hi float64) string {
	if k.target == 0 {
		return "-"
	}
	reaches := func(r float64) bool { return k.atLeast && r >= k.target || !k.atLeast && r <= k.target }
	verdict := "not met"
	if reaches(ratio) {
		verdict = "met"
	}
	if reaches(lo) != reaches(hi) {
		verdict += ", rounds disagree"
	}
	return verdict
}

// printContests prints medians, the median's ratio and how far it moved between
// rounds.
func printContests(w io.Writer, list []*contest) error {
	p := &printer{w: w}
	var rows [][]string
	for _, k := range list {
		us, them := median(k.spent[0]), median(k.spent[1])
		ratio := k.ratio(us.wall, them.wall)
		lo, hi := k.spread()
		rows = append(rows, []string{k.name, k.theirs, fmt.Sprint(k.rows), k.cost(us), k.cost(them), fmt.Sprintf("%.2f", ratio),
			fmt.Sprintf("%.2f-%.2f", lo, hi), fmt.Sprintf("%.2f", k.ratio(us.cpu, them.cpu)), k.goal(), k.met(ratio, lo, hi)})
	}
	p.table("benchmark|plain PostgreSQL|rows|ours|theirs|ratio|by round|CPU ratio|target|", rows)
	return p.err
}

// cost is the time, and for ingest the rows a second, with the CPU time that
// all processes together took.
func (k *contest) cost(s spent) string {
	text := fmt.Sprintf("%.3fs (CPU %.2fs)", s.wall.Seconds(), s.cpu.Seconds())
	if k.atLeast {
		text = fmt.Sprintf("%.0fk rows/s, ", float64(k.rows)/s.wall.Seconds()/1000) + text
	}
	return text
}

// spread is the least and the largest ratio of a round.
func (k *contest) spread() (lo, hi float64) {
	var all []float64
	for i, us := range k.spent[0] {
		all = append(all, k.ratio(us.wall, k.spent[1][i].wall))
	}
	return slices.Min(all), slices.Max(all)
}
