package main

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"net"
	"os"
	"syscall"
	"time"

	"lastgood/api/exchange"
	"lastgood/testdata/demo"
	"lastgood/workflow"
	"lastgood/workflow/key"
	"lastgood/workflow/pg"
)

// demoCmd shows an invented plant on the day its thermometers fail.
type demoCmd struct {
	Listen               string `default:"127.0.0.1:8080" help:"Address to listen on; a free port is taken if this one is not."`
	AllowPrivateWebhooks bool   `help:"Send events to addresses inside the plant's own network too."`
	kept
}

// Run loads the plant, says what is in doubt and what to try, and serves.
func (c *demoCmd) Run(g *globals) error {
	s, err := c.open(g.ctx)
	if err != nil {
		return err
	}
	defer s.close()
	folder, sc, err := c.plant(g, s)
	if err != nil {
		return err
	}
	reports, err := traceAll(g, s.svc, sc)
	if err != nil {
		return err
	}
	if err := printSummary(g.out, exchange.NewResult(folder.Site.Name, folder.Site.Location, reports)); err != nil {
		return err
	}
	signer, err := keyFlag{}.signer(c.kept, g.err)
	if err != nil {
		return err
	}
	s.svc.SignWith(signer)
	l, err := listen(c.Listen)
	if err != nil {
		return err
	}
	name := "demo " + s.db.Now().UTC().Format(time.RFC3339Nano)
	secret, err := s.svc.AddKey(g.ctx, sc, name, key.Scopes, s.db.Now().Add(30*24*time.Hour))
	if err != nil {
		return err
	}
	password, err := hire(g.ctx, s.svc, sc, folder.Site.Name)
	if err != nil {
		return err
	}
	if err := printStaff(g.out, password); err != nil {
		return err
	}
	fmt.Fprintf(g.out, tryThis, l.Addr(), secret, c.place(), lost(reports), cmp.Or(password, "…"), folder.Site.Name)
	if warning := readable(l.Addr(), nil); warning != "" {
		fmt.Fprintln(g.err, "warning:", warning)
	}
	return serve(g.ctx, s, l, nil, workflow.JobOptions{Log: slog.New(slog.NewJSONHandler(io.Discard, nil)), AllowPrivateWebhooks: c.AllowPrivateWebhooks})
}

// plant loads the demo plant, unless a kept database has it already.
func (c *demoCmd) plant(g *globals, s *store) (*exchange.Folder, pg.Scope, error) {
	dir, err := os.MkdirTemp("", "lastgood-demo-")
	if err != nil {
		return nil, pg.Scope{}, err
	}
	defer os.RemoveAll(dir)
	if err := demo.Write(dir); err != nil {
		return nil, pg.Scope{}, err
	}
	folder, problems := exchange.Read(dir)
	if len(problems) > 0 {
		return nil, pg.Scope{}, fmt.Errorf("the demo plant: %w", &problems[0])
	}
	id, there, err := s.db.PlantNamed(g.ctx, folder.Site.Name)
	if err != nil {
		return nil, pg.Scope{}, err
	}
	if there {
		return folder, pg.Scope{Plant: id, By: operator, Cause: "demo"}, nil
	}
	l := &loader{ctx: g.ctx, svc: s.svc, folder: folder, bar: newBar(g.err, folder)}
	err = l.load()
	l.bar.Finish()
	if err == nil && len(l.problems) > 0 {
		err = fmt.Errorf("the demo plant: %w", &l.problems[0])
	}
	return folder, l.scope, err
}

// lost returns the deviation of the probe that was lost.
func lost(reports []workflow.Report) workflow.DeviationID {
	for _, r := range reports {
		if r.Run.Instrument == "HP-02" {
			return r.Deviation.ID
		}
	}
	return 1
}

func (c *demoCmd) place() string {
	if c.Data == "" {
		return "everything is thrown away"
	}
	return "the data stay in " + c.Data
}

// listen takes the wanted address, or a free port where somebody has it.
func listen(address string) (net.Listener, error) {
	l, err := net.Listen("tcp", address)
	if !errors.Is(err, syscall.EADDRINUSE) {
		return l, err
	}
	host, _, err := net.SplitHostPort(address)
	if err != nil {
		return nil, err
	}
	return (&net.ListenConfig{}).Listen(context.Background(), "tcp", net.JoinHostPort(host, "0"))
}

// printSummary says of each deviation, in a few lines, what a QA lead asks
// first.
func printSummary(w io.Writer, r exchange.Result) error {
	p := &printer{w: w}
	p.line("%s", r.Plant)
	for _, d := range r.Deviations {
		p.line("\n%s: %s, %s; in doubt after %s.", d.Instrument, d.OpenedBy, short(d.FailedAt),
			orWords(d.Window.After, "it went into service"))
		p.counts(d)
	}
	p.line("\n%s", r.Caution)
	return p.err
}

const tryThis = `
Serving on http://%[1]s with a key that lives 30 days. Four things to try, in another terminal:

1. What is open, and how much of it is held:
curl -s -H 'Authorization: Bearer %[2]s' 'http://%[1]s/v1/deviations'

2. A check of your own that fails; the answer is the deviation with its holds:
curl -s -H 'Authorization: Bearer %[2]s' -H 'Content-Type: application/json' 'http://%[1]s/v1/checks' -d '{"instrument":"HP-01","performed_at":"2026-08-29T12:00:00-05:00","performed_by":"tech-1","verified_by":"tech-2","points":[{"point":"comparison","unit":"F","reference_reading":165.0,"reference_uncertainty":0.3,"found":168.4}]}'

3. A reading that comes late into the window of the lost probe; a moment later its deviation has a second run, and the lot is held:
curl -s -H 'Authorization: Bearer %[2]s' -H 'Content-Type: text/csv' 'http://%[1]s/v1/readings?batch=late-1' --data-binary $'instrument,taken_at,value,unit,lot,limit\nHP-02,2026-08-18T09:00:00-05:00,166.0,F,CK-0818-B,cook-core\n' && curl -sf --retry 60 --retry-delay 1 --retry-all-errors -H 'Authorization: Bearer %[2]s' 'http://%[1]s/v1/deviations/%[4]d/runs/2/changes?since=1'

4. Sign in as the QA lead, and ask for all that stands in the way of closing the first deviation:
TOKEN=$(curl -s -H 'Content-Type: application/json' 'http://%[1]s/v1/sessions' -d '{"plant":"%[6]s","person":"qa-1","password":"%[5]s"}' | sed 's/.*"token":"\([^"]*\)".*/\1/'); curl -s -H "Authorization: Bearer $TOKEN" 'http://%[1]s/v1/deviations/1/closing'

Everything it takes and answers: http://%[1]s/openapi.json. Ctrl-C stops it: %[3]s.
`
