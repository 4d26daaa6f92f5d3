package api

import (
	"context"
	"crypto/sha256"
	"encoding/binary"
	"hash"
	"math"
	"slices"

	"lastgood/api/exchange"
	"lastgood/workflow/reading"
)

// mostRefused ends an upload that has nothing but wrong rows: it would be kept
// in memory to be told.
const mostRefused = 10_000

// chunk is rows of an upload that are committed together, and what is wrong with
// the others that stood among them.
type chunk struct {
	sent    reading.Chunk
	lines   []int // of each reading
	order   []int // of each reading, its place among all rows of the file
	refused []RefusedRow
	last    int // line
}

// parse cuts the file into chunks. A chunk that is not whole when the body
// breaks off is not sent on: sent again, it would be another one.
func (u *upload) parse(ctx context.Context, out chan<- chunk) {
	c := newChunk(u.batch, 1)
	digest := sha256.New()
	row, bad := 0, 0
	send := func() bool {
		c.sent.Digest = digest.Sum(nil)
		select {
		case out <- c:
		case <-ctx.Done():
			return false
		}
		c, digest = newChunk(u.batch, c.sent.Number+1), sha256.New()
		return true
	}
	wrong := 0 // line of the last row that had a problem: a row may have several
	for r, problem := range u.file.Readings() {
		if problem == nil || r.Line != wrong {
			if c.size() == reading.MaxChunk && !send() {
				return
			}
			row++
		}
		c.last = r.Line
		if problem != nil {
			wrong = r.Line
			bad++
			c.refuse(problem)
			writeLine(digest, r.Line)
			if bad > mostRefused {
				break
			}
			continue
		}
		c.sent.Readings = append(c.sent.Readings, r.Value)
		c.lines, c.order = append(c.lines, r.Line), append(c.order, row)
		writeReading(digest, r)
	}
	if c.size() > 0 && u.broken() == nil {
		send()
	}
}

func newChunk(batch string, number int) chunk {
	return chunk{sent: reading.Chunk{BatchKey: batch, Number: number, Readings: make([]reading.Reading, 0, reading.MaxChunk)}}
}

// size is how many rows the chunk has, the wrong ones among them.
func (c *chunk) size() int { return len(c.lines) + len(c.refused) }

func (c *chunk) refuse(p *exchange.Problem) {
	c.refused = append(c.refused, RefusedRow{p.Line, p.Column, p.Rule, p.Detail})
}

// writeReading adds a row to the digest by which the chunk is known again.
func writeReading(h hash.Hash, r exchange.Row[reading.Reading]) {
	v := r.Value
	writeLine(h, r.Line)
	var b [17]byte
	binary.BigEndian.PutUint64(b[:], uint64(v.TakenAt.UnixMicro()))
	binary.BigEndian.PutUint64(b[8:], math.Float64bits(v.Value))
	b[16] = byte(v.Unit)
	h.Write(b[:])
	for _, s := range [...]string{v.Instrument, v.Lot, v.Limit, v.Location, v.TakenBy, v.SourceID} {
		writeLine(h, len(s))
		h.Write([]byte(s))
	}
}

func writeLine(h hash.Hash, line int) {
	var b [8]byte
	binary.BigEndian.PutUint64(b[:], uint64(line))
	h.Write(b[:])
}

// fate is what became of a row that could be read.
type fate int

const (
	accepted fate = iota
	duplicate
	refused
	quarantined
)

// tail is the row before, with which the next may make one range.
type tail struct {
	fate  fate
	order int
}

// report adds what became of the chunk to the answer.
func (c *chunk) report(a reading.Answer, body *UploadBody, before *tail) {
	fates := make([]fate, len(c.lines))
	for _, i := range a.Duplicates {
		fates[i] = duplicate
	}
	for _, r := range a.Refused {
		fates[r.Index] = refused
		c.refused = append(c.refused, RefusedRow{c.lines[r.Index], r.Field, r.Rule, r.Detail})
	}
	for _, q := range a.Quarantined { // in order of instrument and time
		fates[q.Index] = quarantined
		body.Quarantined = append(body.Quarantined, RefusedRow{c.lines[q.Index], "value", q.Rule, q.Detail})
	}
	slices.SortStableFunc(body.Quarantined, func(a, b RefusedRow) int { return a.Line - b.Line })
	for i, f := range fates {
		next := before.fate == f && before.order > 0 && before.order+1 == c.order[i]
		*before = tail{f, c.order[i]}
		switch f {
		case accepted:
			body.Accepted = extend(body.Accepted, c.lines[i], next)
			body.AcceptedRows++
		case duplicate:
			body.Duplicates = extend(body.Duplicates, c.lines[i], next)
		}
	}
	slices.SortStableFunc(c.refused, func(a, b RefusedRow) int { return a.Line - b.Line })
	body.Refused = append(body.Refused, c.refused...)
	body.LastCommittedLine = c.last
}

// extend lengthens the last range by a line, or begins another.
func extend(ranges [][2]int, line int, next bool) [][2]int {
	if next {
		ranges[len(ranges)-1][1] = line
		return ranges
	}
	return append(ranges, [2]int{line, line})
}
