package main

import (
	"bufio"
	"cmp"
	"database/sql"
	"errors"
	"fmt"
	"hash/fnv"
	"os"
	"path/filepath"
	"slices"
	"strconv"

	_ "github.com/lib/pq" // the superuser's own connection

	"lastgood/workflow/reading"
)

// plainTable is what a plain COPY writes into: as reading, with the same
// columns, checks and key, by month.
const plainTable = "plain_reading"

const plainColumns = "taken_at, value, lot_id, source_key, plant_id, instrument_id, batch_id, context_id"

// makePlain makes the table beside ours with the same rows in it, and opens the
// superuser's connection and psql.
func (b *bench) makePlain() (err error) {
	if b.root, err = sql.Open("postgres", b.store.admin); err != nil {
		return err
	}
	b.root.SetMaxOpenConns(1) // one warm session
	if b.dir, err = os.MkdirTemp("", "lastgood-bench-"); err != nil {
		return err
	}
	if err := os.Chmod(b.dir, 0o755); err != nil { // the server's account reads it
		return err
	}
	var pid int
	var bin string
	const who = `select pg_backend_pid(), (select setting from pg_config where name = 'BINDIR')`
	if err := b.root.QueryRowContext(b.ctx, who).Scan(&pid, &bin); err != nil {
		return err
	}
	backend, err := readStat(fmt.Sprintf("/proc/%d/stat", pid))
	if err != nil {
		return err
	}
	b.postmaster = backend.parent
	if b.psql, err = startPsql(b.ctx, filepath.Join(bin, "psql"), b.store.admin); err != nil {
		return err
	}
	return b.fillPlain()
}

func (b *bench) fillPlain() error {
	queries := []string{"create table " + plainTable + " (like reading including all) partition by range (taken_at)"}
	for m := firstDay; m.Before(firstSlab.AddDate(0, 1, 0)); m = m.AddDate(0, 1, 0) {
		queries = append(queries,
			fmt.Sprintf("create table %[1]s_%[2]s partition of %[1]s for values from ('%[3]s') to ('%[4]s')", plainTable,
				m.Format("200601"), m.Format("2006-01-02"), m.AddDate(0, 1, 0).Format("2006-01-02")))
	}
	queries = append(queries, "insert into "+plainTable+" ("+plainColumns+") select "+plainColumns+
		" from reading order by instrument_id, taken_at", "vacuum analyze reading", "vacuum analyze "+plainTable, "checkpoint")
	for _, q := range queries {
		if _, err := b.root.ExecContext(b.ctx, q); err != nil {
			return err
		}
	}
	return nil
}

// names are the database's numbers of codes.
func (b *bench) names(query string) (map[string]int64, error) {
	rows, err := b.root.QueryContext(b.ctx, query, b.scope.Plant)
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	m := map[string]int64{}
	for rows.Next() {
		var code string
		var id int64
		if err := rows.Scan(&code, &id); err != nil {
			return nil, err
		}
		m[code] = id
	}
	return m, rows.Err()
}

// plainRow is a reading as the table has it.
type plainRow struct {
	reading.Reading
	lot, instrument, source int64
}

// plainFile writes the readings, sorted by the key or as they arrive, as text that
// COPY reads: the work that a plain loader would have done before the clock
// started.
func (b *bench) plainFile(name string, list []reading.Reading, sorted bool) (string, error) {
	lots, err := b.names(`select code, lot_id from lot where plant_id = $1`)
	if err != nil {
		return "", err
	}
	instruments, err := b.names(`select code, instrument_id from instrument where plant_id = $1`)
	if err != nil {
		return "", err
	}
	rows := make([]plainRow, len(list))
	for i, r := range list {
		h := fnv.New64a()
		h.Write([]byte(r.SourceID))
		rows[i] = plainRow{r, lots[r.Lot], instruments[r.Instrument], int64(h.Sum64())}
	}
	if sorted {
		slices.SortFunc(rows, func(x, y plainRow) int {
			return cmp.Or(cmp.Compare(x.instrument, y.instrument), x.TakenAt.Compare(y.TakenAt), cmp.Compare(x.source, y.source))
		})
	}
	file := filepath.Join(b.dir, name)
	f, err := os.OpenFile(file, os.O_CREATE|os.O_TRUNC|os.O_WRONLY, 0o644)
	if err != nil {
		return "", err
	}
	w := bufio.NewWriter(f)
	for _, r := range rows { // batch and context: any numbers of the usual width
		lotID := `\N`
		if r.lot != 0 {
			lotID = strconv.FormatInt(r.lot, 10)
		}
		fmt.Fprintf(w, "%s\t%v\t%s\t%d\t%d\t%d\t%d\t%d\n", r.TakenAt.Format("2006-01-02 15:04:05+00"), r.Value, lotID, r.source,
			b.scope.Plant, r.instrument, 1000+b.slabs, 1)
	}
	return file, errors.Join(w.Flush(), f.Close())
}

// sameRows makes sure that both sides did the same work.
func (b *bench) sameRows() error {
	const sums = `select count(*), sum(source_key), sum(value::numeric), sum(lot_id), sum(instrument_id) from `
	var differ bool
	q := `select a is distinct from b from (` + sums + `reading) a, (` + sums + plainTable + `) b`
	if err := b.root.QueryRowContext(b.ctx, q).Scan(&differ); err != nil {
		return err
	}
	if differ {
		return errors.New("the two sides have not stored the same rows: nothing was compared")
	}
	return nil
}
