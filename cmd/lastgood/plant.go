package main

import (
	"fmt"
	"time"
)

// plantCmd manages plants.
type plantCmd struct {
	Add plantAddCmd `cmd:"" help:"Add a plant to an installation."`
}

type plantAddCmd struct {
	Name      string   `required:"" help:"As it stands in site.yaml."`
	TimeZone  string   `required:"" help:"IANA name, such as UTC."`
	AltitudeM *float64 `name:"altitude-m" help:"For boiling points without a measured pressure."`
	kept
}

// Run adds the plant; one that is there already is left as it is.
func (c *plantAddCmd) Run(g *globals) error {
	if _, err := time.LoadLocation(c.TimeZone); err != nil {
		return usage{err}
	}
	s, err := c.open(g.ctx)
	if err != nil {
		return err
	}
	defer s.close()
	if _, err := s.svc.Plant(g.ctx, c.Name, c.TimeZone, c.AltitudeM); err != nil {
		return err
	}
	_, err = fmt.Fprintf(g.out, "plant %s\n", c.Name)
	return err
}
