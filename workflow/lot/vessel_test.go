package lot_test

import (
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/lib/pq"
	"pgregory.net/rapid"

	"lastgood/workflow/lot"
	"lastgood/workflow/pg"
)

func hour(h int) time.Time { return day(1).Add(time.Duration(h) * time.Hour) }

// stood says that a lot was in a place from … until, in hours; until 0: it is
// still there.
func stood(code, place string, from, until int) lot.Stay {
	y := lot.Stay{Lot: code, Location: place, From: hour(from)}
	if until > 0 {
		to := hour(until)
		y.To = &to
	}
	return y
}

func (s *store) vessel(list ...lot.Stay) {
	s.Helper()
	yes := true
	s.tx(func(tx *pg.Tx) error {
		if _, err := lot.AddPlaces(s.Context(), tx, []lot.Place{{Code: "tank", Vessel: &yes}, {Code: "store"}}); err != nil {
			return err
		}
		_, err := lot.AddStays(s.Context(), tx, list)
		return err
	})
}

func (s *store) cleaned(from, at int, withdrawn bool) {
	s.Helper()
	begun := hour(from)
	s.tx(func(tx *pg.Tx) error {
		_, err := lot.AddCleanouts(s.Context(), tx, []lot.Cleanout{{Location: "tank", From: &begun, At: hour(at), Withdrawn: withdrawn}})
		return err
	})
}

// TestVesselTaints: forward in time until a clean-out, both ways where stays
// overlap, and not at all where lots stand apart.
func TestVesselTaints(t *testing.T) {
	t.Parallel()
	s := open(t)
	s.vessel(stood("A", "tank", 0, 4), stood("B", "tank", 4, 8), stood("C", "tank", 6, 10), stood("D", "tank", 12, 14), stood("E", "tank", 20, 0),
		stood("B", "store", 0, 4), stood("F", "store", 0, 0))
	s.turned(edges("D>G")...)
	of := func(code, want string) {
		t.Helper()
		if got := strings.Join(s.descendants(code), " "); got != want {
			t.Errorf("of %s: %s, want %s", code, got, want)
		}
	}
	of("A", "A<A B<A C<A D<A E<A G<A")
	of("C", "B<C C<C D<C E<C G<C") // B and C stood together; A had left before C came
	of("B", "B<B C<B D<B E<B G<B") // A left in the moment in which B came
	of("F", "F<F")
	s.cleaned(10, 11, false)
	of("A", "A<A B<A C<A")
	of("D", "D<D E<D G<D")
	s.cleaned(13, 15, false) // begun while D was still there: no break for it
	of("D", "D<D E<D G<D")
	s.cleaned(10, 11, true)
	of("A", "A<A B<A C<A D<A E<A G<A")
}

// Seen from either end the same lots are mixed, and what taints is never less
// than a plain reading of the rule: no clean-out begun after a left and over when
// b came (property).
func TestTaintIsTheSameFromBothEnds(t *testing.T) {
	t.Parallel()
	s := open(t)
	n := 0
	rapid.Check(t, func(r *rapid.T) {
		n++
		name := func(i int) string { return fmt.Sprint(n, "-", i) }
		place := fmt.Sprint("tank-", n)
		hours := rapid.IntRange(0, 12)
		var stays []lot.Stay
		for i := range rapid.IntRange(2, 5).Draw(r, "stays") {
			from := hours.Draw(r, "from")
			y := stood(name(i), place, from, from+rapid.IntRange(0, 4).Draw(r, "for"))
			if y.To == nil || rapid.IntRange(0, 5).Draw(r, "open") == 0 {
				y.To = nil
			}
			stays = append(stays, y)
		}
		var cleans []lot.Cleanout
		for at := range rapid.IntRange(0, 2).Draw(r, "cleans") {
			from := hour(hours.Draw(r, "begun"))
			cleans = append(cleans, lot.Cleanout{Location: place, From: &from, At: from.Add(time.Duration(at+1) * time.Hour)})
		}
		yes := true
		s.tx(func(tx *pg.Tx) error {
			if _, err := lot.AddPlaces(s.Context(), tx, []lot.Place{{Code: place, Vessel: &yes}}); err != nil {
				return err
			}
			cleans = slices.CompactFunc(cleans, func(a, b lot.Cleanout) bool { return a.At.Equal(b.At) })
			if _, err := lot.AddCleanouts(s.Context(), tx, cleans); err != nil {
				return err
			}
			_, err := lot.AddStays(s.Context(), tx, stays)
			return err
		})
		var codes, want []string
		for i := range stays {
			codes = append(codes, name(i))
		}
		for i, a := range stays {
			for j, b := range stays {
				if i != j && mixes(a, b, cleans) {
					want = append(want, name(i)+">"+name(j))
				}
			}
		}
		down, up := s.taints(codes)
		slices.Sort(want)
		if !slices.Equal(down, want) || !slices.Equal(up, want) {
			r.Fatalf("%+v\n%+v\ndown %v\nup   %v\nwant %v", stays, cleans, down, up, want)
		}
	})
}

// mixes is the rule, in plain words.
func mixes(a, b lot.Stay, cleans []lot.Cleanout) bool {
	end := func(y lot.Stay) time.Time {
		if y.To == nil {
			return day(300)
		}
		return *y.To
	}
	if !a.From.Before(end(b)) && !a.From.Equal(b.From) {
		return false
	}
	return !slices.ContainsFunc(cleans, func(c lot.Cleanout) bool { return !c.From.Before(end(a)) && !c.At.After(b.From) })
}

// taints returns the direct edges among lots, from above and from below.
func (s *store) taints(codes []string) (down, up []string) {
	s.Helper()
	ids := s.ids(codes...)
	var list []lot.ID
	names := map[lot.ID]string{}
	for c, id := range ids {
		list, names[id] = append(list, id), c
	}
	s.tx(func(tx *pg.Tx) error {
		edges, err := lot.Edges(s.Context(), tx, list)
		if err != nil {
			return err
		}
		for from, to := range edges {
			for _, id := range to {
				down = append(down, names[from]+">"+names[id])
			}
		}
		var rows []struct {
			Lot  lot.ID `db:"lot_id"`
			From lot.ID `db:"from_id"`
		}
		const q = `select distinct u.lot_id, t.lot_id as from_id from unnest($2::bigint[]) as u(lot_id) cross join lateral ` + lot.TaintersSQL + ` t`
		err = tx.SelectContext(s.Context(), &rows, q, tx.Plant, pq.Array(list))
		for _, r := range rows {
			up = append(up, names[r.From]+">"+names[r.Lot])
		}
		return err
	})
	slices.Sort(down)
	slices.Sort(up)
	return down, up
}

// TestFollow: both ways, so many steps, and never more than was asked for without
// saying so.
func TestFollow(t *testing.T) {
	t.Parallel()
	s := open(t)
	s.turned(edges("A>B", "B>C", "X>C", "C>D")...)
	s.vessel(stood("D", "tank", 1, 2), stood("E", "tank", 3, 4))
	ids := s.ids("A", "C")
	for _, c := range []struct {
		from  string
		way   lot.Direction
		steps int
		most  int
		want  string
	}{
		{"A", lot.Forward, 0, 9, "A B C D E false"},
		{"A", lot.Forward, 2, 9, "A B C false"},
		{"A", lot.Forward, 0, 3, "A B C true"},
		{"C", lot.Backward, 0, 9, "A B C X false"},
	} {
		s.tx(func(tx *pg.Tx) error {
			f, err := lot.Follow(t.Context(), tx, ids[c.from], c.way, c.steps, c.most)
			if err != nil {
				return err
			}
			known, err := lot.Get(t.Context(), tx, f.Lots)
			var codes []string
			for _, id := range f.Lots {
				codes = append(codes, known[id].Code)
			}
			slices.Sort(codes)
			if got := strings.Join(codes, " ") + fmt.Sprint(" ", f.Truncated); got != c.want {
				t.Errorf("%s of %s: %s, want %s", c.way, c.from, got, c.want)
			}
			return err
		})
	}
}
