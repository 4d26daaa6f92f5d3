package reading_test

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"sync"
	"testing"
	"time"

	"lastgood/policy/unit"
	"lastgood/workflow/fault"
	"lastgood/workflow/pg"
	"lastgood/workflow/reading"
)

func TestReadingsComeBackAsTheyWere(t *testing.T) {
	t.Parallel()
	s := open(t)
	// Values that a decimal has and a float has not, and the ends of the range.
	values := []float64{71.1, 161.6, -18.05, 0.1 + 0.2, 0.3, 0, math.Copysign(0, -1), 1e-7, 99999.999999, math.MaxFloat64, math.SmallestNonzeroFloat64}
	var list []reading.Reading
	for i, v := range values {
		list = append(list, read(day(3, 1).Add(time.Duration(i)*time.Microsecond), v))
	}
	slices.Reverse(list) // whatever the order that they come in
	s.takes("b", len(values), nil, list...)
	got := s.stored(day(3, 1).Add(-1*time.Microsecond), day(3, 2))
	if len(got) != len(values) {
		t.Fatalf("%d readings came back, want %d", len(got), len(values))
	}
	for i, r := range got {
		if math.Float64bits(r.Value) != math.Float64bits(values[i]) {
			t.Errorf("%v came back as %v", values[i], r.Value)
		}
		if want := day(3, 1).UnixMicro() + int64(i); r.At != want {
			t.Errorf("reading %d was taken at %d µs, want %d", i, r.At, want)
		}
	}
}

func TestStreamEndsAreOpenAndClosed(t *testing.T) {
	t.Parallel()
	s := open(t)
	us := time.Microsecond
	at := day(3, 1)
	s.takes("b", 4, nil, read(at, 1), read(at.Add(us), 2), read(at.Add(2*us), 3), read(at.Add(3*us), 4))
	var got []float64
	for _, r := range s.stored(at, at.Add(2*us)) { // (after, until]
		got = append(got, r.Value)
	}
	if !slices.Equal(got, []float64{2, 3}) {
		t.Errorf("readings %v, want 2 and 3", got)
	}
	// Whoever has seen enough may stop, and the transaction goes on.
	s.read(func(tx *pg.Tx) error {
		for range reading.Stream(t.Context(), tx, 1, day(1, 1), day(12, 1)) {
			break
		}
		var one int
		return tx.GetContext(t.Context(), &one, `select 1`)
	})
}

func TestSameReadingTwiceIsOne(t *testing.T) {
	t.Parallel()
	s := open(t)
	a, b, c := by("a", read(day(3, 1), 71)), by("b", read(day(3, 1), 72)), read(day(3, 2), 73)
	s.takes("first", 3, nil, a, b, c)
	s.takes("again", 0, []int{0, 1, 2}, a, b, c)
	other := a
	other.TakenBy, other.Decimals = "op-2", 3 // who took it and how it was written do not matter
	s.takes("mixed", 1, []int{0, 2, 3}, c, read(day(3, 3), 74), other, b)
	s.takes("within", 1, []int{1, 2}, read(day(3, 4), 75), read(day(3, 4), 75), read(day(3, 4), 75))
	if n := s.count(`select count(*) from reading`); n != 5 {
		t.Errorf("%d readings are stored, want 5", n)
	}
}

func TestSameChunkAgainIsAllDuplicates(t *testing.T) {
	t.Parallel()
	s := open(t)
	s.takes("b", 1, nil, read(day(3, 1), 71))
	s.takes("b", 0, []int{0}, read(day(3, 1), 71))
	_, err := s.take("b", read(day(3, 1), 72))
	var f *fault.Error
	if !errors.As(err, &f) || f.Rule != "batch-chunk-reused" {
		t.Errorf("another chunk under the same number: %v", err)
	}
}

// The same instrument, time and source with another value is a conflict, and
// nothing of its chunk is written (design §14).
func TestAnotherValueIsRefused(t *testing.T) {
	t.Parallel()
	s := open(t)
	at := day(3, 1)
	s.takes("first", 2, nil, by("a", read(at, 71)), by("b", read(at, 71)))
	inF, lot, limit, place := by("a", read(at, 71)), by("a", read(at, 71)), by("a", read(at, 71)), by("a", read(at, 71))
	inF.Unit, lot.Lot, limit.Limit, place.Location = unit.FahrenheitScale, "B", "chill", "cooler"
	for name, r := range map[string]reading.Reading{"value": by("a", read(at, 71.1)), "unit": inF, "lot": lot, "limit": limit, "location": place} {
		s.refuses(name, []string{"1 conflict"}, read(day(3, 2), 70), r, by("b", read(at, 71)))
	}
	s.refuses("within", []string{"1 conflict"}, by("c", read(at, 1)), by("c", read(at, 2)), by("c", read(at, 1)))
	twoMonths := []reading.Reading{read(day(2, 1), 70), by("a", read(at, 72)), read(day(5, 1), 70)}
	s.refuses("a month before and one after", []string{"1 conflict"}, twoMonths...)
}

func TestWhatCannotBeAReading(t *testing.T) {
	t.Parallel()
	s := open(t)
	unknown, limit := read(day(3, 1), 71), read(day(3, 1), 72)
	unknown.Instrument, limit.Limit = "T-9", "freeze"
	s.refuses("b", []string{"1 unknown-instrument", "2 unknown-limit", "3 before-in-service"},
		read(day(3, 1), 70), unknown, limit, read(day(1, 1).Add(-time.Microsecond), 71))
	s.takes("the moment it was put in service", 1, nil, read(day(1, 1), 71))
}

func TestMonthsHaveEdges(t *testing.T) {
	t.Parallel()
	s := open(t)
	us := time.Microsecond
	var list []reading.Reading
	for _, m := range []time.Month{2, 3, 4, 5} {
		list = append(list, read(day(m, 1), 71), read(day(m, 1).Add(-us), 72))
	}
	zone := time.FixedZone("", -8*3600) // February there, March in UTC
	list = append(list, read(time.Date(2025, 2, 28, 23, 0, 0, 0, zone), 73))
	s.takes("b", len(list), nil, list...)
	s.takes("again", 0, []int{0, 1, 2, 3, 4, 5, 6, 7, 8}, list...)
	if got := s.stored(day(1, 1), day(12, 31)); len(got) != len(list) {
		t.Errorf("%d readings came back, want %d", len(got), len(list))
	}
	misplaced := s.count(`select count(*) from reading where tableoid::regclass::text <> 'reading_' || to_char(taken_at at time zone 'UTC', 'YYYYMM')`)
	if misplaced != 0 {
		t.Errorf("%d readings lie in a month that is not theirs", misplaced)
	}
}

func TestChunkHasABound(t *testing.T) {
	t.Parallel()
	s := open(t)
	list := make([]reading.Reading, reading.MaxChunk+1)
	for i := range list {
		list[i] = read(day(3, 1).Add(time.Duration(i)*time.Second), 71)
	}
	_, err := s.take("b", list...)
	var f *fault.Error
	if !errors.As(err, &f) || f.Rule != "chunk-too-large" {
		t.Errorf("one too many: %v", err)
	}
	s.takes("b", reading.MaxChunk, nil, list[1:]...)
	if n := s.count(`select count(*) from reading`); n != reading.MaxChunk {
		t.Errorf("%d readings are stored, want %d", n, reading.MaxChunk)
	}
}

func TestSpansKeepFirstAndLast(t *testing.T) {
	t.Parallel()
	s := open(t)
	room := read(day(3, 5), 4)
	room.Lot, room.Location, room.Limit = "", "cooler", ""
	named := read(day(3, 6), 4) // a lot that is named counts, not the place
	named.Location = "oven"
	other := read(day(3, 7), 71)
	other.Instrument = "T-2"
	s.takes("b", 4, nil, read(day(3, 2), 71), room, named, other)
	s.takes("before", 1, nil, read(day(3, 1), 71))
	s.takes("between", 1, nil, read(day(3, 3), 71))
	var got []string
	s.read(func(tx *pg.Tx) error {
		const day = `extract(day from first_at at time zone 'UTC') || '-' || extract(day from last_at at time zone 'UTC')`
		return tx.SelectContext(t.Context(), &got, `
			select 'lot ' || l.code || ' ' || i.code || ' ' || `+day+` from lot_span join lot l using (plant_id, lot_id) join instrument i using (plant_id, instrument_id)
			union all select 'place ' || l.code || ' ' || i.code || ' ' || `+day+` from location_span join location l using (plant_id, location_id) join instrument i using (plant_id, instrument_id)
			union all select 'limit ' || limit_name || ' ' || i.code from limit_span join instrument i using (plant_id, instrument_id) order by 1`)
	})
	want := []string{"limit  T-1", "limit cook T-1", "limit cook T-2", "lot A T-1 1-6", "lot A T-2 7-7", "place cooler T-1 5-5"}
	slices.Sort(got)
	slices.Sort(want)
	if !slices.Equal(got, want) {
		t.Errorf("spans %q, want %q", got, want)
	}
}

func TestContextsAreInternedOnce(t *testing.T) {
	t.Parallel()
	s := open(t)
	s.takes("b", 3, nil, read(day(3, 1), 71), read(day(3, 2), 71), read(day(3, 3), 71))
	s.takes("c", 1, nil, read(day(3, 4), 71))
	if n := s.count(`select count(*) from reading_context`); n != 1 {
		t.Errorf("%d contexts, want 1", n)
	}
}

func TestTouchedIsWhatIsNew(t *testing.T) {
	t.Parallel()
	s := open(t)
	s.takes("b", 1, nil, read(day(3, 2), 71))
	again, later := read(day(3, 2), 71), read(day(3, 4), 71)
	room := read(day(3, 5), 4)
	room.Instrument, room.Lot, room.Limit = "T-2", "", "chill"
	a, err := s.take("c", room, again, later)
	if err != nil {
		t.Fatal(err)
	}
	if len(a.Touched) != 2 {
		t.Fatalf("touched: %+v", a.Touched)
	}
	one, two := a.Touched[0], a.Touched[1]
	if !one.First.Equal(day(3, 4)) || !one.Last.Equal(day(3, 4)) || len(one.Lots) != 1 || one.Placed || one.ServesMore {
		t.Errorf("T-1: %+v", one)
	}
	if !two.First.Equal(day(3, 5)) || len(two.Lots) != 0 || !two.Placed || !two.ServesMore {
		t.Errorf("T-2: %+v", two)
	}
}

// Senders whose chunks overlap, at once, over the edge of a month: every reading
// is stored once, whoever was first, and is new in one answer.
func TestOverlappingChunksAtOnce(t *testing.T) {
	t.Parallel()
	s := open(t)
	const senders, each, step = 6, 600, 300
	var done sync.WaitGroup
	var mu sync.Mutex
	accepted := 0
	for i := range senders {
		done.Go(func() {
			var list []reading.Reading
			for n := range each {
				r := read(day(3, 31).Add(23*time.Hour+time.Duration(i*step+n)*2*time.Second), 71)
				r.Lot = fmt.Sprint("L-", (i*step+n)%7)
				list = append(list, r)
			}
			if i%2 == 1 {
				slices.Reverse(list)
			}
			a, err := s.take(fmt.Sprint("sender-", i), list...)
			if err != nil {
				t.Error(err)
			}
			mu.Lock()
			defer mu.Unlock()
			accepted += a.Accepted
			if a.Accepted+len(a.Duplicates) != each {
				t.Errorf("sender %d: %d accepted and %d duplicates of %d", i, a.Accepted, len(a.Duplicates), each)
			}
		})
	}
	done.Wait()
	const all = (senders-1)*step + each
	if n := s.count(`select count(*) from reading`); n != all || accepted != all {
		t.Errorf("%d readings are stored and %d were accepted, want %d", n, accepted, all)
	}
}
