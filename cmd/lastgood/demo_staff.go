package main

import (
	"context"
	"crypto/rand"
	"errors"
	"fmt"
	"io"
	"text/tabwriter"

	"lastgood/policy/disposition"
	"lastgood/workflow"
	"lastgood/workflow/fault"
	"lastgood/workflow/person"
	"lastgood/workflow/pg"
)

// demoStaff are the invented people of the invented plant. Each has the one role
// in which they sign; the technicians' codes are those in the plant's checks.
var demoStaff = []struct {
	code, name, title string
	role              disposition.Role
	qualified         string
}{
	{"qa-1", "Mara Quillfeather", "QA lead", disposition.QALead, ""},
	{"qa-2", "Odo Brambley", "food safety specialist", disposition.QualifiedPerson, "PCQI"},
	{"qa-3", "Pell Ashgrove", "QA lead, nights", disposition.QALead, ""},
	{"verify-1", "Ines Thistlewood", "QA auditor", disposition.Verifier, ""},
	{"read-1", "Tam Osterfold", "records clerk", disposition.Reviewer, ""},
	{"plant-1", "Bea Larkenfield", "plant manager", disposition.PlantManager, ""},
	{"liaison-1", "Hew Coldwater", "regulatory liaison", disposition.RegulatoryLiaison, ""},
	{"process-1", "Dr. Una Pellmore", "thermal process authority", disposition.ProcessAuthority, "processing authority"},
	{"line-1", "Joss Ferrant", "line supervisor, days", disposition.LineSupervisor, ""},
	{"tech-9", "Wil Marrow", "calibration technician", disposition.CalibrationTechnician, ""},
	{"admin-1", "Lark Winnow", "administrator of people; signs nothing", disposition.Administrator, ""},
}

// hire adds the staff with one password, made up now and shown this once. A plant
// that has them already keeps them and their passwords; it returns an empty one.
func hire(ctx context.Context, svc *workflow.Service, sc pg.Scope, plant string) (string, error) {
	password := "demo-" + rand.Text()
	for _, p := range demoStaff {
		g := person.Grant{Role: p.role}
		if p.qualified != "" {
			g.Qualification = person.Qualification{Kind: p.qualified, Reference: "invented certificate"}
		}
		oneTime, err := svc.AddPerson(ctx, sc, person.Identity{Code: p.code, Name: p.name, Title: p.title}, g)
		if errors.Is(err, fault.Conflict) {
			return "", nil
		}
		if err != nil {
			return "", fmt.Errorf("the demo's people: %w", err)
		}
		if err := svc.SetPassword(ctx, plant, p.code, oneTime, password); err != nil {
			return "", fmt.Errorf("the demo's people: %w", err)
		}
	}
	return password, nil
}

// printStaff says who there is to sign in as.
func printStaff(w io.Writer, password string) error {
	if password == "" {
		_, err := fmt.Fprintln(w, "\nThe people of this plant have the passwords that were shown when it was made; `lastgood person reset` gives one anew.")
		return err
	}
	fmt.Fprintf(w, "\nPeople to sign in as, all with the password %s, which is shown this once:\n", password)
	t := tabwriter.NewWriter(w, 2, 0, 2, ' ', 0)
	for _, p := range demoStaff {
		fmt.Fprintf(t, "  %s\t%s\t%s\t%s\n", p.code, p.name, p.title, p.role)
	}
	fmt.Fprintln(t, "Nobody signs in two roles that exclude each other: whoever begins an evaluation does not close it (let qa-2 begin), and whoever proposes does not approve.")
	return t.Flush()
}
