package catalogue

import (
	"testing"
	"time"

	"lastgood/policy/limit"
	"lastgood/policy/unit"
)

const us = time.Microsecond

// TestEdges holds every entry to its figures at their very edge: exactly the
// temperature for exactly the time meets it, one millionth of a degree or one
// microsecond on the wrong side misses it.
func TestEdges(t *testing.T) {
	t.Parallel()
	edges := map[string]func(*testing.T, Entry, limit.Limit){
		"at_least": everyEdge, "at_most": everyEdge, "hold": holdEdge, "dwell_table": dwellEdge,
		"lethality": lethalityEdge, "cooling": coolingEdge, "exposure": exposureEdge,
	}
	for _, name := range Names() {
		e := find(t, name)
		edge := edges[e.Kind.Name]
		if edge == nil {
			t.Fatalf("%s: no edge is known of the kind %s", name, e.Kind.Name)
		}
		edge(t, e, made(t, e))
	}
}

// harmful is one millionth of a degree further in the harmful direction.
func harmful(l limit.Limit, at unit.Micro) unit.Micro { return at + unit.Micro(l.Criterion.Harm()) }

func everyEdge(t *testing.T, e Entry, l limit.Limit) {
	at := e.Values.Temperature["temperature"].Value
	total, allowed := e.Values.Duration["allow.total"]
	if !allowed {
		want(t, e.Name+" at its temperature", judged(t, l, point{0, at}), limit.Met)
		want(t, e.Name+" beyond it", judged(t, l, point{0, harmful(l, at)}), limit.Missed)
		return
	}
	want(t, e.Name+" at its temperature", held(t, l, at, 10*total), limit.Met)
	want(t, e.Name+" beyond it as long as allowed", held(t, l, harmful(l, at), total), limit.Met)
	want(t, e.Name+" beyond it too long", held(t, l, harmful(l, at), total+us), limit.Missed)
}

func holdEdge(t *testing.T, e Entry, l limit.Limit) {
	at, low := e.Values.Temperature["at_least"]
	if !low {
		at = e.Values.Temperature["at_most"]
	}
	d := e.Values.Duration["for"]
	want(t, e.Name, held(t, l, at.Value, d), limit.Met)
	want(t, e.Name+" too short", held(t, l, at.Value, d-us), limit.Missed)
	want(t, e.Name+" not there", held(t, l, harmful(l, at.Value), d), limit.Missed)
}

// dwellEdge knows by itself what a table asks: some row at or below the
// temperature whose time is not longer.
func dwellEdge(t *testing.T, e Entry, l limit.Limit) {
	rows := e.Values.Rows["table"]
	meets := func(at unit.Micro, d time.Duration) limit.Verdict {
		for _, r := range rows {
			if at >= r.Temperatures[0].Value && d >= r.Time {
				return limit.Met
			}
		}
		return limit.Missed
	}
	for i, r := range rows {
		id, at := e.Name+" "+e.Rows[len(e.Rows)-len(rows)+i], r.Temperatures[0].Value
		want(t, id, held(t, l, at, r.Time), limit.Met)
		want(t, id+" not there", held(t, l, at-1, r.Time), meets(at-1, r.Time))
		if r.Time > 0 {
			want(t, id+" too short", held(t, l, at, r.Time-us), meets(at, r.Time-us))
		}
	}
	lowest := rows[0].Temperatures[0].Value
	want(t, e.Name+" below the lowest row", held(t, l, lowest-1, 100*rows[0].Time+time.Hour), limit.Missed)
}

func lethalityEdge(t *testing.T, e Entry, l limit.Limit) {
	at := e.Values.Temperature["reference"].Value
	d := time.Duration(e.Values.Number["minutes"] * float64(time.Minute))
	want(t, e.Name, held(t, l, at, d), limit.Met)
	want(t, e.Name+" too short", held(t, l, at, d-us), limit.Missed)
	want(t, e.Name+" not there", held(t, l, at-1, d), limit.Missed)
	if _, floor := e.Values.Temperature["from"]; floor {
		want(t, e.Name+" below the floor", held(t, l, at-1, 100*d), limit.Missed)
	}
}

// cooled is a record in which each stage ends just in time, but the one that is
// late: product stands at the end of a stage and is below it the next moment.
func cooled(stages []limit.Row, late int) []point {
	ends := map[unit.Micro]time.Duration{stages[0].Temperatures[0].Value: 0}
	points := []point{{0, stages[0].Temperatures[0].Value}}
	for i, s := range stages {
		end := ends[s.Temperatures[0].Value] + s.Time
		if i == late {
			end += us
		}
		to := s.Temperatures[1].Value
		ends[to] = end
		points = append(points, point{end, to}, point{end, to - 1})
	}
	return points
}

func coolingEdge(t *testing.T, e Entry, l limit.Limit) {
	stages := e.Values.Rows["stages"]
	want(t, e.Name, judged(t, l, cooled(stages, -1)...), limit.Met)
	for i := range stages {
		want(t, e.Name+" late at "+stages[i].Temperatures[1].String(), judged(t, l, cooled(stages, i)...), limit.Missed)
	}
}

func exposureEdge(t *testing.T, e Entry, l limit.Limit) {
	bands := e.Values.Rows["bands"]
	for i, b := range bands {
		id, at := e.Name+" "+b.Temperatures[0].String(), b.Temperatures[0].Value
		want(t, id, held(t, l, at, b.Time), limit.Met)
		want(t, id+" too long", held(t, l, at, b.Time+us), limit.Missed)
		// A millionth colder is in the band below, which allows more, or in none.
		if i == 0 || bands[i-1].Time > b.Time {
			want(t, id+" a little colder", held(t, l, at-1, b.Time+us), limit.Met)
		}
		// Exposure adds up over the process, whatever lies between (DF-046).
		cold := bands[0].Temperatures[0].Value - 1
		half := b.Time / 2
		apart := func(more time.Duration) []point {
			return []point{
				{0, at}, {half, at}, {half, cold}, {half + time.Hour, cold},
				{half + time.Hour, at}, {b.Time + time.Hour + more, at}, {b.Time + time.Hour + more, cold},
			}
		}
		want(t, id+" twice half", judged(t, l, apart(0)...), limit.Met)
		want(t, id+" twice half and a little", judged(t, l, apart(us)...), limit.Missed)
	}
}
