package main

import (
	"bytes"
	"context"
	"fmt"
	"net"
	"net/http"
	"strconv"
	"time"

	"lastgood/api"
	"lastgood/workflow"
	"lastgood/workflow/key"
	"lastgood/workflow/pg"
	"lastgood/workflow/reading"
)

// serveHTTP serves the engine to the benchmark's own client.
func (b *bench) serveHTTP() error {
	secret, err := b.store.svc.AddKey(b.ctx, b.scope, "bench", key.Scopes, time.Now().Add(24*time.Hour))
	if err != nil {
		return err
	}
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		return err
	}
	b.web = &http.Server{Handler: api.New(b.store.svc, api.Options{}), ReadHeaderTimeout: headerTime}
	go b.web.Serve(l) // ends when bench.close closes it
	b.client = &client{base: "http://" + l.Addr().String(), key: secret, http: &http.Client{}}
	return nil
}

// httpContests: a slab as NDJSON in the order of arrival, committed before it is
// answered, against COPY by the server itself; and a trace asked for over HTTP.
func (b *bench) httpContests() []*contest {
	all := slabLength * b.plan.sender
	return []*contest{
		b.uploadContest(fmt.Sprintf("COPY, %d sorted rows at once", all), 0.7, true),
		b.uploadContest(fmt.Sprintf("COPY, %d rows as they arrive", all), 1.2, false),
		b.traceContest("trace over HTTP, at_least", cooker, 1, b.traceHTTP),
	}
}

func (b *bench) uploadContest(theirs string, target float64, sorted bool) *contest {
	var body []byte
	file, batch := "", ""
	k := &contest{name: "upload over HTTP, NDJSON", theirs: theirs, target: target, atLeast: true, rows: slabLength * b.plan.sender}
	k.prepare = func(int) (err error) {
		list := b.plan.slab(b.slabs, true)
		batch = fmt.Sprintf("slab %d", b.slabs)
		b.slabs++
		if err := b.internLots(list); err != nil {
			return err
		}
		body = ndjsonOf(list)
		file, err = b.plainFile("upload", list, sorted)
		return err
	}
	k.us = func() error {
		said, err := b.client.upload(b.ctx, batch, "readings.ndjson", bytes.NewReader(body))
		if err == nil && said.AcceptedRows != k.rows {
			err = fmt.Errorf("%d of %d rows were accepted", said.AcceptedRows, k.rows)
		}
		return err
	}
	k.them = func() error { return b.copyFiles([]string{file}) }
	return k
}

// ndjsonOf writes readings as a plant system would send them.
func ndjsonOf(list []reading.Reading) []byte {
	var b []byte
	for _, r := range list {
		b = append(b, `{"instrument":"`...)
		b = append(b, r.Instrument...)
		b = append(b, `","taken_at":"`...)
		b = r.TakenAt.AppendFormat(b, time.RFC3339)
		b = append(b, `","value":`...)
		b = strconv.AppendFloat(b, r.Value, 'f', int(r.Decimals), 64)
		b = fmt.Appendf(b, `,"unit":"C","lot":"%s","limit":"%s","source_id":"%s"}`+"\n", r.Lot, r.Limit, r.SourceID)
	}
	return b
}

// traceHTTP asks for a trace and reads the answer.
func (b *bench) traceHTTP(ctx context.Context, _ pg.Scope, id workflow.DeviationID) (workflow.Run, error) {
	_, err := b.client.send(ctx, http.MethodPost, fmt.Sprintf("/v1/deviations/%d/trace", id), "application/json", nil)
	return workflow.Run{}, err
}
