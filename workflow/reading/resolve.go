package reading

import (
	"context"
	"hash/fnv"
	"strconv"
	"time"

	"lastgood/workflow/fault"
	"lastgood/workflow/instrument"
	"lastgood/workflow/lot"
	"lastgood/workflow/pg"
)

// names numbers the names of one sort that a chunk uses, so that a row asks a
// map once for each name. No name is number 0.
type names struct {
	number map[string]int32
	list   []string
}

func newNames() *names { return &names{map[string]int32{"": 0}, []string{""}} }

func (n *names) of(s string) int32 {
	if s == "" {
		return 0
	}
	i, ok := n.number[s]
	if !ok {
		i = int32(len(n.list))
		n.number[s] = i
		n.list = append(n.list, s)
	}
	return i
}

// numbered returns what the database calls the names, by our number.
func numbered[ID any](n *names, ids map[string]ID) []ID {
	out := make([]ID, len(n.list))
	for i, s := range n.list[1:] {
		out[i+1] = ids[s]
	}
	return out
}

// resolve puts numbers for names and refuses what cannot be. It tells by row
// which readings are not believed.
func resolve(ctx context.Context, tx *pg.Tx, list []Reading, limits Limits) ([]row, map[int]*Implausible, error) {
	known, err := instrument.Known(ctx, tx)
	if err != nil {
		return nil, nil, err
	}
	rows := make([]row, len(list))
	lots, places := newNames(), newNames()
	odd, err := identify(rows, list, known, limits, lots, places)
	if err = fault.Both(err, pg.AllPast(tx, list, "taken_at", func(r Reading) time.Time { return r.TakenAt })); err != nil {
		return nil, nil, err
	}
	ids, err := lot.Intern(ctx, tx, lots.list[1:])
	if err != nil {
		return nil, nil, err
	}
	at, err := instrument.Locations(ctx, tx, places.list[1:])
	if err != nil {
		return nil, nil, err
	}
	contexts, err := internContexts(ctx, tx, list, at)
	if err != nil {
		return nil, nil, err
	}
	lotIDs, placeIDs := numbered(lots, ids), numbered(places, at)
	var last Context
	var number int32
	for i := range rows {
		r := &rows[i]
		r.lot, r.location = lotIDs[r.lot], placeIDs[r.location]
		if c := contextOf(&list[i], r.location); number == 0 || c != last { // most rows are like the one before
			last, number = c, contexts[c]
		}
		r.context = number
	}
	return rows, odd, nil
}

// identify fills in what needs no question to the database; lots and places get
// the numbers of their names. It refuses unknown instruments and limits, and
// readings from before an instrument's service, and returns those that are not
// believed.
func identify(rows []row, list []Reading, known map[string]instrument.Stored, limits Limits, lots, places *names) (odd map[int]*Implausible, err error) {
	type in struct {
		id    instrument.ID
		since int64 // in service [µs]
		from  *time.Time
		shows windows
	}
	ins := make(map[string]*in, len(known))
	for code, s := range known {
		k := &in{id: s.ID, from: s.InServiceFrom, shows: shows(s)}
		if k.from != nil {
			k.since = k.from.UnixMicro()
		}
		ins[code] = k
	}
	var bad fault.Rows
	readAt, none := limits.expected(), &in{shows: windows{everything, everything, everything}}
	limit, e := "", (*expected)(nil) // of the row before; that one was asked for
	for i := range list {
		r, at := &list[i], list[i].TakenAt.UnixMicro()
		k, ok := ins[r.Instrument]
		switch {
		case !ok:
			k = none
			bad.Add(i, fault.New(fault.Invalid, "unknown-instrument", "there is no instrument %s", r.Instrument).In("instrument"))
		case k.from != nil && at < k.since:
			bad.Add(i, fault.New(fault.Invalid, "before-in-service", "%s was put in service on %s", r.Instrument,
				k.from.Format(time.RFC3339)).In("taken_at"))
		}
		if r.Limit != limit {
			if limit, e = r.Limit, readAt[r.Limit]; e == nil && limit != "" {
				bad.Add(i, fault.New(fault.Invalid, "unknown-limit", "the policy has no limit %s", r.Limit).In("limit"))
				limit = ""
			}
		}
		rows[i] = row{index: i, at: at, value: r.Value, source: sourceKey(r), instrument: k.id,
			lot: lot.ID(lots.of(r.Lot)), location: places.of(r.Location)}
		if !k.shows[place(r.Unit)].has(r.Value) || !e.usual(r.Value, r.Unit) {
			if why := judge(r, k.shows, e); why != nil {
				odd = noted(odd, i, why)
			}
		}
	}
	return odd, bad.Err()
}

// noted adds to a map that mostly never is.
func noted[T any](m map[int]T, i int, v T) map[int]T {
	if m == nil {
		m = map[int]T{}
	}
	m[i] = v
	return m
}

// sourceKey is the 64-bit FNV-1a hash of the sender's key, or, without one, of
// what the reading says apart from when.
func sourceKey(r *Reading) int64 {
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
