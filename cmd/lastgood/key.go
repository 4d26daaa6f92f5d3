package main

import (
	"fmt"
	"strings"
	"text/tabwriter"
	"time"

	"lastgood/workflow/key"
	"lastgood/workflow/pg"
)

// keyCmd manages the keys by which plant systems call the API.
type keyCmd struct {
	Add    keyAddCmd    `cmd:"" help:"Make a key; it is shown this once."`
	List   keyListCmd   `cmd:"" help:"List the keys; never their secrets."`
	Revoke keyRevokeCmd `cmd:"" help:"End a key at once."`
}

// plantFlag names the plant that a command is for.
type plantFlag struct {
	Plant string `required:"" help:"Name of the plant."`
	kept
}

// with opens the database and does something for the plant.
func (p plantFlag) with(g *globals, f func(*store, pg.Scope) error) error {
	s, err := p.open(g.ctx)
	if err != nil {
		return err
	}
	defer s.close()
	id, err := s.db.FindPlant(g.ctx, p.Plant)
	if err != nil {
		return err
	}
	return f(s, pg.Scope{Plant: id, By: operator})
}

type keyAddCmd struct {
	Name    string        `required:"" help:"Who or what uses it; a name is never used again."`
	Scopes  string        `default:"all" help:"Comma between: ${scopes}; or all."`
	Expires time.Duration `default:"720h" help:"How long it lives."`
	plantFlag
}

// Run makes a key and shows it.
func (c *keyAddCmd) Run(g *globals) error {
	return c.with(g, func(s *store, sc pg.Scope) error {
		secret, err := s.svc.AddKey(g.ctx, sc, c.Name, scopesOf(c.Scopes), s.db.Now().Add(c.Expires))
		if err != nil {
			return usage{err}
		}
		_, err = fmt.Fprintln(g.out, secret)
		return err
	})
}

func scopesOf(s string) []key.Scope {
	if s == "all" {
		return key.Scopes
	}
	var out []key.Scope
	for _, w := range strings.Split(s, ",") {
		out = append(out, key.Scope(strings.TrimSpace(w)))
	}
	return out
}

func allScopes() string {
	var s []string
	for _, k := range key.Scopes {
		s = append(s, string(k))
	}
	return strings.Join(s, ", ")
}

type keyListCmd struct{ plantFlag }

// Run lists the keys.
func (c *keyListCmd) Run(g *globals) error {
	return c.with(g, func(s *store, sc pg.Scope) error {
		list, err := s.svc.Keys(g.ctx, sc)
		if err != nil {
			return err
		}
		t := tabwriter.NewWriter(g.out, 0, 0, 2, ' ', 0)
		fmt.Fprintln(t, "name\tscopes\texpires\trevoked")
		for _, k := range list {
			revoked := ""
			if k.RevokedAt != nil {
				revoked = k.RevokedAt.Format(time.RFC3339)
			}
			fmt.Fprintf(t, "%s\t%v\t%s\t%s\n", k.Name, k.Scopes, k.ExpiresAt.Format(time.RFC3339), revoked)
		}
		return t.Flush()
	})
}

type keyRevokeCmd struct {
	Name string `arg:"" help:"The key's name."`
	plantFlag
}

// Run ends a key.
func (c *keyRevokeCmd) Run(g *globals) error {
	return c.with(g, func(s *store, sc pg.Scope) error { return s.svc.RevokeKey(g.ctx, sc, c.Name) })
}
