package pg

import (
	"bytes"
	"cmp"
	"context"
	"fmt"
	"slices"
	"strings"

	"github.com/go-json-experiment/json"

	"lastgood/workflow/fault"
)

// Sieve says how rows of a list are found again in a table that keeps each
// once.
type Sieve struct {
	Noun    string // what a person calls such a row: "stay"
	Key     string // the field that is named where a list contradicts itself
	Columns string // of a row, for json_to_record
	Table   string // joined as t to the row r, by its key
	Same    []Same
}

// Same is a field and the condition under which row and record agree on it.
type Same struct{ Field, If string }

// query answers, for each row that is recorded already, its place in the list
// and the first field on which it disagrees.
func (s Sieve) query() string {
	var cases strings.Builder
	for _, f := range s.Same {
		fmt.Fprintf(&cases, " when not coalesce(%s, false) then '%s'", f.If, f.Field)
	}
	return `select e.i - 1 as i, case` + cases.String() + ` else '' end as differs
from json_array_elements($2::json) with ordinality as e(row, i)
cross join lateral json_to_record(e.row) as r(` + s.Columns + `)
join ` + s.Table + ` where t.plant_id = $1 and $3::timestamptz is not null order by 1`
}

// Sift returns the places of the rows that are not recorded yet. The same row
// again, in the table or earlier in the list, is no news, so that whatever is
// sent twice changes nothing. Another value under the same key is a conflict,
// which it adds to bad with the field.
func Sift[R any, K comparable](ctx context.Context, tx *Tx, s Sieve, rows []R, key func(R) K, bad *fault.Rows) ([]int, error) {
	if len(rows) == 0 {
		return nil, nil
	}
	var recorded []struct {
		Index   int    `db:"i"`
		Differs string `db:"differs"`
	}
	if err := tx.InsertReturning(ctx, &recorded, s.query(), rows); err != nil {
		return nil, fmt.Errorf("what is recorded of each %s: %w", s.Noun, err)
	}
	known := make([]bool, len(rows))
	for _, r := range recorded {
		known[r.Index] = true
		if r.Differs != "" {
			bad.Add(r.Index, fault.New(fault.Conflict, "conflict", "this %s is recorded already, with another %s", s.Noun, r.Differs).In(r.Differs))
		}
	}
	first := make(map[K]int, len(rows))
	var fresh []int
	for i, r := range rows {
		k := key(r)
		if n, again := first[k]; again {
			if !sameText(rows[n], r) {
				bad.Add(i, fault.New(fault.Conflict, "conflict", "this %s was given already with other values, %d rows before", s.Noun, i-n).In(s.Key))
			}
			continue
		}
		first[k] = i
		if !known[i] {
			fresh = append(fresh, i)
		}
	}
	slices.SortStableFunc(*bad, func(a, b fault.Row) int { return a.Index - b.Index })
	return fresh, nil
}

func sameText(a, b any) bool {
	x, errX := json.Marshal(a)
	y, errY := json.Marshal(b)
	return errX == nil && errY == nil && bytes.Equal(x, y)
}

// Pick returns the elements of list at the given places.
func Pick[T any](list []T, places []int) []T {
	out := make([]T, len(places))
	for i, n := range places {
		out[i] = list[n]
	}
	return out
}

// AddFresh adds the rows of a list that are not recorded yet, by a statement as
// Tx.Insert takes it, and returns the elements that they were made of. rows are
// one for each element of list. fault.Rows: nothing was written.
func AddFresh[T, R any, K comparable](ctx context.Context, tx *Tx, s Sieve, add string, list []T, rows []R, key func(R) K) ([]T, error) {
	var bad fault.Rows
	fresh, err := Sift(ctx, tx, s, rows, key, &bad)
	if err != nil || len(bad) > 0 {
		return nil, cmp.Or(err, bad.Err())
	}
	if _, err := tx.Insert(ctx, add, Pick(rows, fresh)); err != nil {
		return nil, fmt.Errorf("add each %s: %w", s.Noun, err)
	}
	return Pick(list, fresh), nil
}
