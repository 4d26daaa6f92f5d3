package main

import (
	"fmt"
	"strings"
	"text/tabwriter"
	"time"

	"lastgood/policy/disposition"
	"lastgood/workflow/person"
	"lastgood/workflow/pg"
)

// personCmd manages the people of a plant. The first administrator is made here;
// they then work through the API.
type personCmd struct {
	Add   personAddCmd   `cmd:"" help:"Add a person; the code with which they set a password is shown this once."`
	List  personListCmd  `cmd:"" help:"List the people and their roles."`
	Reset personResetCmd `cmd:"" help:"Take a person's password and sessions, and show a new one-time code."`
	Leave personLeaveCmd `cmd:"" help:"A person has left; their code is never used again."`
}

type personAddCmd struct {
	Code           string    `required:"" help:"As the trail and the records call them; never used again."`
	Name           string    `required:"" help:"As it is printed beside a signature."`
	Title          string    `required:"" help:"As it is printed beside a signature."`
	Roles          []string  `help:"Comma between: ${roles}. An administrator holds no other."`
	QualifiedBy    string    `name:"qualified-by" help:"Kind of the qualification of a qualified_person or process_authority, such as PCQI."`
	Reference      string    `help:"Its certificate, course or letter."`
	QualifiedUntil time.Time `name:"qualified-until" format:"2006-01-02" help:"The day it runs out (UTC), if it does."`
	plantFlag
}

// Run adds the person and shows their one-time code.
func (c *personAddCmd) Run(g *globals) error {
	return c.with(g, func(s *store, sc pg.Scope) error {
		oneTime, err := s.svc.AddPerson(g.ctx, sc, person.Identity{Code: c.Code, Name: c.Name, Title: c.Title}, c.grants()...)
		if err != nil {
			return usage{err}
		}
		_, err = fmt.Fprintln(g.out, oneTime)
		return err
	})
}

// grants are the roles, of which those that need a qualification have the one
// that is named.
func (c *personAddCmd) grants() []person.Grant {
	q := person.Qualification{Kind: c.QualifiedBy, Reference: c.Reference}
	if !c.QualifiedUntil.IsZero() {
		q.Until = &c.QualifiedUntil
	}
	var out []person.Grant
	for _, r := range c.Roles {
		role := person.Grant{Role: disposition.Role(strings.TrimSpace(r))}
		if person.NeedsQualification(role.Role) {
			role.Qualification = q
		}
		out = append(out, role)
	}
	return out
}

func allRoles() string {
	var s []string
	for _, r := range person.Roles {
		s = append(s, string(r))
	}
	return strings.Join(s, ", ")
}

type personListCmd struct{ plantFlag }

// Run lists the people.
func (c *personListCmd) Run(g *globals) error {
	return c.with(g, func(s *store, sc pg.Scope) error {
		list, err := s.svc.People(g.ctx, sc, "", 0)
		if err != nil {
			return err
		}
		t := tabwriter.NewWriter(g.out, 0, 0, 2, ' ', 0)
		fmt.Fprintln(t, "code\tname\ttitle\troles\tuntil")
		for _, p := range list {
			until := ""
			if p.ActiveUntil != nil {
				until = p.ActiveUntil.UTC().Format(time.RFC3339)
			}
			fmt.Fprintf(t, "%s\t%s\t%s\t%s\t%s\n", p.Code, p.Name, p.Title, rolesOf(p), until)
		}
		return t.Flush()
	})
}

// rolesOf lists roles, each with whom the person stands in for.
func rolesOf(p person.Person) string {
	var out []string
	for _, h := range p.Roles {
		r := string(h.Role)
		if h.For != "" {
			r += " for " + h.For
		}
		out = append(out, r)
	}
	return strings.Join(out, ", ")
}

type personResetCmd struct {
	Code string `arg:"" help:"The person's code."`
	plantFlag
}

// Run takes a password and shows a new one-time code.
func (c *personResetCmd) Run(g *globals) error {
	return c.with(g, func(s *store, sc pg.Scope) error {
		r, err := s.svc.ResetPerson(g.ctx, sc, c.Code)
		if err != nil {
			return err
		}
		_, err = fmt.Fprintln(g.out, r.OneTime)
		return err
	})
}

type personLeaveCmd struct {
	Code string `arg:"" help:"The person's code."`
	plantFlag
}

// Run records that a person has left.
func (c *personLeaveCmd) Run(g *globals) error {
	return c.with(g, func(s *store, sc pg.Scope) error { return s.svc.Depart(g.ctx, sc, c.Code, time.Time{}) })
}
