package main

import (
	"context"
	"errors"
	"fmt"
	"net/http"
	"net/url"
	"os"
	"strings"
	"time"

	"github.com/go-json-experiment/json"

	"lastgood/api"
	"lastgood/api/exchange"
	"lastgood/policy/unit"
)

// remote says which installation a command speaks to.
type remote struct {
	Server string `name:"server" default:"http://127.0.0.1:8080" help:"Where the installation serves."`
	Key    string `env:"LASTGOOD_KEY" help:"A key of the plant."`
}

func (r remote) client() (*client, error) {
	if r.Key == "" {
		return nil, usage{errors.New("give --key, or LASTGOOD_KEY: a key of the plant")}
	}
	return &client{base: r.Server, key: r.Key, http: http.DefaultClient}, nil
}

// drillCmd asks what a failure would set off, and sets nothing off.
type drillCmd struct {
	What       string   `arg:"" help:"The instrument, in a running installation; or a case folder, with --instrument."`
	Instrument string   `help:"The instrument, in a case folder."`
	Error      string   `help:"What the check is supposed to find at every point, indicated less true: 1.4K, --error=-2F. Without it and points: lost."`
	Points     []string `name:"point" help:"What it is supposed to show and its error there: 75C:1.4, several times."`
	At         string   `help:"When the check is supposed to be done, RFC 3339 with an offset. Default: now; in a folder, its end."`
	Intervals  bool     `help:"Compare check intervals by what one failure would put in doubt, instead."`
	JSON       bool     `name:"json" help:"Print JSON."`
	remote
	database
}

// Run asks the installation, or one on a throw-away database with the folder in
// it. It ends well whatever would be in doubt: nothing is.
func (c *drillCmd) Run(g *globals) error {
	fact, err := c.fact()
	if err != nil {
		return usage{err}
	}
	if c.Instrument != "" {
		return c.inFolder(g, fact)
	}
	if info, err := os.Stat(c.What); err == nil && info.IsDir() {
		return usage{fmt.Errorf("%s is a folder: name the instrument with --instrument", c.What)}
	}
	fact.Instrument = c.What
	client, err := c.client()
	if err != nil {
		return err
	}
	return c.ask(g, client, fact)
}

// ask asks an installation and prints what it says.
func (c *drillCmd) ask(g *globals, to *client, fact api.DrillFact) error {
	if c.Intervals {
		return show(g, c.JSON, printIntervals, func(b any) error {
			return to.get(g.ctx, "/v1/instruments/"+url.PathEscape(fact.Instrument)+"/intervals", b)
		})
	}
	return show(g, c.JSON, printDrill, func(d any) error { return to.post(g.ctx, "/v1/drills", fact, d) })
}

// show asks for something and prints it. What the server refuses is the
// caller's to mend.
func show[T any](g *globals, asJSON bool, print func(*globals, T) error, ask func(any) error) error {
	var v T
	err := ask(&v)
	var p *api.Problem
	switch {
	case errors.As(err, &p) && p.Status < http.StatusInternalServerError:
		return usage{err}
	case err != nil:
		return err
	case asJSON:
		return printJSON(g, v)
	}
	return print(g, v)
}

// fact is the supposition, all but its instrument.
func (c *drillCmd) fact() (f api.DrillFact, err error) {
	if c.At != "" {
		if _, flaw := exchange.Time(c.At); flaw != nil {
			return f, fmt.Errorf("--at: %s", flaw.Detail)
		}
		at := api.Moment(c.At)
		f.At = &at
	}
	if c.Error != "" {
		d, err := unit.ParseDiff(spaced(c.Error))
		if err != nil {
			return f, fmt.Errorf("--error: %w", err)
		}
		f.Error, f.Unit = (*api.Degrees)(&d.Value), d.Scale.String()
	}
	for _, p := range c.Points {
		at, off, _ := strings.Cut(p, ":")
		t, err := unit.ParseTemperature(spaced(at))
		if err != nil {
			return f, fmt.Errorf("--point: %w", err)
		}
		e, err := unit.ParseMicro(off)
		if err != nil {
			return f, fmt.Errorf("--point: write what it shows and its error, as in 75C:1.4: %w", err)
		}
		if f.Unit != "" && f.Unit != t.Scale.String() {
			return f, fmt.Errorf("--point: %s beside %s: write all of them in one unit", t.Scale, f.Unit)
		}
		f.Unit = t.Scale.String()
		f.Points = append(f.Points, api.DrillPointFact{At: api.Degrees(t.Value), Error: api.Degrees(e)})
	}
	return f, nil
}

// spaced puts a space before a unit: 1.4K is 1.4 K.
func spaced(s string) string {
	number := strings.TrimRight(s, "CELFAHK")
	return strings.TrimSpace(number) + " " + s[len(number):]
}

// get reads JSON.
func (c *client) get(ctx context.Context, path string, answer any) error {
	b, err := c.do(ctx, http.MethodGet, path, http.NoBody)
	if err != nil {
		return err
	}
	return json.Unmarshal(b, answer)
}

// asMoment writes a time as the API takes it.
func asMoment(t time.Time) *api.Moment {
	m := api.Moment(t.UTC().Format(time.RFC3339Nano))
	return &m
}
