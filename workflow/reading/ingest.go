package reading

import (
	"cmp"
	"context"
	"hash/fnv"
	"slices"
	"strconv"
	"time"

	"lastgood/workflow/fault"
	"lastgood/workflow/instrument"
	"lastgood/workflow/lot"
	"lastgood/workflow/pg"
)

// MaxChunk is how many readings one chunk may have. A chunk is taken in whole
// or not at all.
const MaxChunk = 50_000

// Chunk is one part of a batch of readings.
type Chunk struct {
	BatchKey string // the sender's own key of the batch
	Number   int    // of the chunk within the batch
	Digest   []byte // of the bytes it came in
	Readings []Reading
}

// Answer says what became of a chunk. Duplicates were recorded before, with the
// same value.
type Answer struct {
	Accepted   int
	Duplicates []int // indexes of rows
	// Refused is set where a chunk was asked to be taken in without its bad rows.
	Refused []Refused `json:",omitempty"`
	// Touched are the instruments that the new readings are of. A chunk that is
	// answered again touches nothing.
	Touched []Touched `json:"-"`
}

// Refused is a row that was not taken in, and why.
type Refused struct {
	Index  int
	Field  string
	Rule   string
	Detail string
}

// Touched is what the new readings of one instrument speak of.
type Touched struct {
	Instrument  instrument.ID
	First, Last time.Time
	Lots        []lot.ID
	Placed      bool // some name no lot
	ServesMore  bool // some are for a limit that it was not known to serve
}

// row is a reading with numbers for names, as it is stored.
type row struct {
	index      int
	at         int64 // µs
	value      float64
	lot        lot.ID // 0: none
	source     int64
	instrument instrument.ID
	context    int32
	location   int32
}

// Ingest takes a chunk in, sorted by instrument and time, by COPY; where some
// readings are there already, through a stage. It returns fault.Rows, and
// writes nothing, if any row is wrong: an unknown instrument, a reading before
// its instrument was in service, a limit that limits does not have, another value
// for a reading that is recorded. The caller holds the shared plant lock.
func Ingest(ctx context.Context, tx *pg.Tx, c Chunk, limits map[string]bool) (Answer, error) {
	if len(c.Readings) > MaxChunk {
		return Answer{}, fault.New(fault.Invalid, "chunk-too-large", "a chunk has at most %d readings", MaxChunk)
	}
	before, err := sentBefore(ctx, tx, c)
	if err != nil {
		return Answer{}, err
	}
	if before {
		return Answer{Duplicates: all(len(c.Readings))}, nil
	}
	rows, err := resolve(ctx, tx, c.Readings, limits)
	if err != nil {
		return Answer{}, err
	}
	rows, dups, err := sortAndCompare(rows, c.Readings)
	if err != nil {
		return Answer{}, err
	}
	batch, err := openBatch(ctx, tx, c)
	if err != nil {
		return Answer{}, err
	}
	stored, err := write(ctx, tx, batch, rows)
	if err != nil {
		return Answer{}, err
	}
	news, err := touched(ctx, tx, rows, stored, c.Readings)
	if err != nil {
		return Answer{}, err
	}
	if err := widenSpans(ctx, tx, rows, c.Readings); err != nil {
		return Answer{}, err
	}
	a := Answer{Accepted: len(rows) - len(stored), Duplicates: append(dups, stored...), Touched: news}
	slices.Sort(a.Duplicates)
	return a, closeBatch(ctx, tx, batch, a.Accepted)
}

// all returns the indexes of n rows.
func all(n int) []int {
	list := make([]int, n)
	for i := range list {
		list[i] = i
	}
	return list
}

// resolve puts numbers for names and refuses what cannot be.
func resolve(ctx context.Context, tx *pg.Tx, list []Reading, limits map[string]bool) ([]row, error) {
	known, err := instrument.Known(ctx, tx)
	if err != nil {
		return nil, err
	}
	var bad fault.Rows
	lots, places := make([]string, len(list)), make([]string, len(list))
	for i, r := range list {
		in, ok := known[r.Instrument]
		switch {
		case !ok:
			bad.Add(i, fault.New(fault.Invalid, "unknown-instrument", "there is no instrument %s", r.Instrument).In("instrument"))
		case in.InServiceFrom != nil && r.TakenAt.Before(*in.InServiceFrom):
			bad.Add(i, fault.New(fault.Invalid, "before-in-service", "%s was put in service on %s", r.Instrument,
				in.InServiceFrom.Format(time.RFC3339)).In("taken_at"))
		}
		if r.Limit != "" && !limits[r.Limit] {
			bad.Add(i, fault.New(fault.Invalid, "unknown-limit", "the policy has no limit %s", r.Limit).In("limit"))
		}
		lots[i], places[i] = r.Lot, r.Location
	}
	if len(bad) > 0 {
		return nil, bad
	}
	ids, err := lot.Intern(ctx, tx, distinct(lots))
	if err != nil {
		return nil, err
	}
	at, err := instrument.Locations(ctx, tx, distinct(places))
	if err != nil {
		return nil, err
	}
	contexts, err := internContexts(ctx, tx, list, at)
	if err != nil {
		return nil, err
	}
	rows := make([]row, len(list))
	for i, r := range list {
		rows[i] = row{index: i, at: r.TakenAt.UnixMicro(), value: r.Value, lot: ids[r.Lot], source: sourceKey(r),
			instrument: known[r.Instrument].ID, location: at[r.Location], context: contexts[contextOf(r, at)]}
	}
	return rows, nil
}

func distinct(s []string) []string {
	seen := map[string]bool{"": true}
	out := []string{}
	for i, x := range s {
		if i > 0 && x == s[i-1] {
			continue
		}
		if !seen[x] {
			seen[x] = true
			out = append(out, x)
		}
	}
	return out
}

// sourceKey is the 64-bit FNV-1a hash of the sender's key, or, without one, of
// what the reading says apart from when.
func sourceKey(r Reading) int64 {
	h := fnv.New64a()
	if r.SourceID != "" {
		h.Write([]byte(r.SourceID))
	} else {
		for _, s := range []string{"", r.Lot, r.Limit, r.Location, strconv.FormatFloat(r.Value, 'g', -1, 64)} {
			h.Write([]byte(s))
			h.Write([]byte{0})
		}
	}
	return int64(h.Sum64())
}

// sortAndCompare sorts by the key, drops repeats of the same value and refuses
// the same reading with two values.
func sortAndCompare(rows []row, list []Reading) (kept []row, dups []int, err error) {
	slices.SortFunc(rows, func(a, b row) int {
		if c := cmp.Compare(a.instrument, b.instrument); c != 0 {
			return c
		}
		if c := cmp.Compare(a.at, b.at); c != 0 {
			return c
		}
		if c := cmp.Compare(a.source, b.source); c != 0 {
			return c
		}
		return cmp.Compare(a.index, b.index)
	})
	var bad fault.Rows
	kept = rows[:0:len(rows)]
	for _, r := range rows {
		if n := len(kept); n > 0 && kept[n-1].sameKey(r) {
			if !saysTheSame(list[kept[n-1].index], list[r.index]) {
				bad.Add(r.index, conflict(list[r.index].Instrument, kept[n-1].value))
			}
			dups = append(dups, r.index)
			continue
		}
		kept = append(kept, r)
	}
	return kept, dups, bad.Err()
}

// saysTheSame tells a repeat from a conflict: who took it and how many decimals
// it was sent with do not matter.
func saysTheSame(a, b Reading) bool {
	return a.Value == b.Value && a.Unit == b.Unit && a.Lot == b.Lot && a.Limit == b.Limit && a.Location == b.Location
}

func (a row) sameKey(b row) bool {
	return a.instrument == b.instrument && a.at == b.at && a.source == b.source
}

func conflict(instrument string, has float64) *fault.Error {
	return fault.New(fault.Conflict, "conflict", "%s has a reading of this time and source already, of %v: a reading is corrected, never changed",
		instrument, has).In("value")
}
