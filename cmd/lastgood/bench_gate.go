package main

import (
	"database/sql"
	"fmt"
	"io"
	"net/http"
	"net/url"
	"slices"
	"time"

	"github.com/go-json-experiment/json"
	"github.com/lib/pq"

	"lastgood/api"
	"lastgood/workflow"
)

// questions is how often each side is asked in a round.
const questions = 500

// gateContests: the ship gate over HTTP, key, lock, decision and record, against
// the decision alone as one statement through the driver.
func (b *bench) gateContests() []*contest {
	var list []gateLot
	k := &contest{name: fmt.Sprintf("ship gate over HTTP, %d questions", questions), theirs: "the same look, one prepared statement", rows: questions}
	var look *sql.Stmt
	k.prepare = func(int) (err error) {
		if look == nil { // closed with its connection
			if look, err = b.root.PrepareContext(b.ctx, workflow.GateSQL); err != nil {
				return err
			}
		}
		list, err = b.gateLots()
		return err
	}
	k.us = func() error {
		return b.askEach(list, &b.gate[0], func(l gateLot) (bool, error) {
			body, err := b.client.send(b.ctx, http.MethodGet, "/v1/ship-gate/"+url.PathEscape(l.code), "application/json", nil)
			var said api.GateBody
			if err == nil {
				err = json.Unmarshal(body, &said)
			}
			return said.MayShip, err
		})
	}
	k.them = func() error {
		return b.askEach(list, &b.gate[1], func(l gateLot) (bool, error) { return b.lookPlain(look, l) })
	}
	return []*contest{k}
}

// gateLot is a lot, and whether a hold stands on it.
type gateLot struct {
	code string
	id   int64
	held bool
}

// gateLots picks lots that the gate is asked for, all over the plant.
func (b *bench) gateLots() ([]gateLot, error) {
	const pick = `select l.code, l.lot_id, exists (select from portion p join hold h using (plant_id, portion_id)
			where p.plant_id = l.plant_id and p.lot_id = l.lot_id and h.lifted_at is null)
		from lot l where plant_id = $1 order by hashint8(lot_id), lot_id limit $2`
	rows, err := b.root.QueryContext(b.ctx, pick, b.scope.Plant, questions)
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	var list []gateLot
	for rows.Next() {
		var l gateLot
		if err := rows.Scan(&l.code, &l.id, &l.held); err != nil {
			return nil, err
		}
		list = append(list, l)
	}
	return list, rows.Err()
}

// askEach asks as often as a round does, and notes how long each answer took. A
// permission for what is held ends the benchmark.
func (b *bench) askEach(list []gateLot, took *[][]time.Duration, ask func(gateLot) (bool, error)) error {
	round := make([]time.Duration, 0, questions)
	for i := range questions {
		l := list[i%len(list)]
		start := time.Now()
		may, err := ask(l)
		if err != nil {
			return err
		}
		round = append(round, time.Since(start))
		if may && l.held {
			return fmt.Errorf("lot %s is on hold, and may ship", l.code)
		}
	}
	*took = append(*took, round)
	return nil
}

// lookPlain runs the gate's statement, which is prepared, and reads its rows.
func (b *bench) lookPlain(look *sql.Stmt, l gateLot) (bool, error) {
	rows, err := look.QueryContext(b.ctx, b.scope.Plant, pq.Array([]int64{l.id}))
	if err != nil {
		return false, err
	}
	defer rows.Close()
	free := true
	for rows.Next() {
		var fact, portion, word, code string
		var start, id, hold, deviation, cascade int64
		var flag bool
		var amount, of *string
		if err := rows.Scan(&fact, &start, &id, &portion, &hold, &deviation, &cascade, &flag, &amount, &of, &word, &code); err != nil {
			return false, err
		}
		free = free && fact != "hold"
	}
	return free, rows.Err()
}

// printGate prints how long an answer took: the middle of a round, and what all
// but one in a hundred kept to; the median round's, and the worst's.
func (b *bench) printGate(w io.Writer) error {
	if len(b.gate[0]) == 0 || len(b.gate[1]) == 0 {
		return nil
	}
	p := &printer{w: w}
	var rows [][]string
	for i, who := range []string{"ship gate over HTTP", "one prepared statement"} {
		var p50, p99 []time.Duration
		for _, round := range b.gate[i] {
			d := slices.Sorted(slices.Values(round))
			p50, p99 = append(p50, d[len(d)/2]), append(p99, d[len(d)*99/100])
		}
		slices.Sort(p50)
		slices.Sort(p99)
		rows = append(rows, []string{who, milliseconds(p50[len(p50)/2]), milliseconds(p99[len(p99)/2]), milliseconds(p99[len(p99)-1])})
	}
	p.table("question|p50|p99|worst round's p99", rows)
	return p.err
}

func milliseconds(d time.Duration) string {
	return fmt.Sprintf("%.2f ms", float64(d.Microseconds())/1000)
}
