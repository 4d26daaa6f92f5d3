package workflow

import (
	"encoding/hex"
	"slices"

	"lastgood/policy/disposition"
	"lastgood/workflow/actor"
	"lastgood/workflow/decision"
	"lastgood/workflow/person"
	"lastgood/workflow/pg"
	"lastgood/workflow/signoff"
)

// staff are invented people, one for each role, who sign what there is to sign.
var staff = map[disposition.Role]string{disposition.QALead: "lead", disposition.QualifiedPerson: "pcqi", disposition.ProcessAuthority: "authority",
	disposition.PlantManager: "manager", disposition.RegulatoryLiaison: "liaison", disposition.Verifier: "verifier", disposition.LineSupervisor: "supervisor",
	disposition.CalibrationTechnician: "technician", disposition.Reviewer: "reader"}

// employ adds the staff.
func (s *site) employ() {
	s.Helper()
	by := pg.Scope{Plant: s.sc.Plant, By: actor.Actor{ID: "installer", Kind: actor.Person}}
	for role, code := range staff {
		g := person.Grant{Role: role}
		if person.NeedsQualification(role) {
			g.Qualification = person.Qualification{Kind: "PCQI", Reference: "a certificate", Until: nil}
		}
		_, err := s.AddPerson(s.ctx, by, person.Identity{Code: code, Name: "N. " + code, Title: string(role)}, g)
		s.must(err)
	}
}

// as is the scope of somebody who has just proved who they are.
func (s *site) as(role disposition.Role) pg.Scope {
	return pg.Scope{Plant: s.sc.Plant, By: actor.Actor{ID: staff[role], Kind: actor.Person, AuthenticatedAt: s.db.Now(), Session: "a session"}}
}

// records returns the records of a deviation.
func (s *site) records(d Deviation) (list []signoff.Record) {
	s.Helper()
	s.must(s.db.Read(s.ctx, s.sc, func(tx *pg.Tx) (err error) {
		list, err = signoff.Of(s.ctx, tx, int64(d.ID))
		return err
	}))
	return list
}

// signs lets one person sign one record as it stands.
func (s *site) signs(role disposition.Role, r signoff.Record) error {
	_, err := s.Sign(s.ctx, s.as(role), role, "", []ToSign{{r.Kind, r.ID, hex.EncodeToString(r.Digest)}})
	return err
}

// signAll lets everyone sign every record of some kinds, in order, and returns how
// many signatures that took.
func (s *site) signAll(d Deviation, kinds ...signoff.Kind) (n int) {
	s.Helper()
	for range 100 {
		i := slices.IndexFunc(s.records(d), func(r signoff.Record) bool { return slices.Contains(kinds, r.Kind) && !r.Complete() && s.stands(r) })
		if i < 0 {
			return n
		}
		r := s.records(d)[i]
		if err := s.signs(r.Open()[0].Role, r); err != nil {
			s.Fatalf("%s signs %s %d: %v", r.Open()[0].Role, r.Kind, r.ID, err)
		}
		n++
	}
	s.Fatalf("there is no end to signing")
	return n
}

// stands says whether what a record is about still counts.
func (s *site) stands(r signoff.Record) bool {
	if r.Kind != signoff.Disposition && r.Kind != signoff.Execution {
		return true
	}
	var dec decision.Decision
	s.must(s.db.Read(s.ctx, s.sc, func(tx *pg.Tx) (err error) {
		dec, err = decision.Get(s.ctx, tx, decision.ID(r.ID))
		return err
	}))
	return dec.Standing()
}

// proposes lets QA propose one thing for a portion.
func (s *site) proposes(d Deviation, lotCode, portion string, what disposition.Disposition) error {
	_, err := s.Propose(s.ctx, s.as(disposition.QALead), d.ID, []Proposal{{Lot: lotCode, Portion: portion, Disposition: what, Reason: "it was decided so",
		Receiver: "a rendering plant", IntoLot: "R"}})
	return err
}

// carriesOut reports that all of what was decided for a portion was done.
func (s *site) carriesOut(d Deviation) {
	s.Helper()
	for _, c := range s.docket(d).decided {
		if c.State != decision.Proposed {
			continue
		}
		dk := s.docket(d)
		q := dk.quantity(dk.portion(c.Portion))
		_, err := s.ReportExecution(s.ctx, s.as(disposition.LineSupervisor), c.ID, NewReport{Fate: fateOf[c.Kind], Quantity: *q, At: s.db.Now(), Place: "the yard", Last: true})
		s.must(err)
	}
}

func (s *site) docket(d Deviation) (c *docket) {
	s.Helper()
	s.must(s.db.Read(s.ctx, s.sc, func(tx *pg.Tx) (err error) {
		d, err := getDeviation(s.ctx, tx, d.ID, "")
		if err != nil {
			return err
		}
		c, err = docketOf(s.ctx, tx, d)
		return err
	}))
	return c
}

// evaluates lets a qualified person begin the evaluation.
func (s *site) evaluates(d Deviation) {
	s.Helper()
	_, err := s.Evaluate(s.ctx, s.as(disposition.QualifiedPerson), d.ID, s.now(d).Version)
	s.must(err)
}

// codes are the codes of what stands in the way of closing.
func (s *site) codes(d Deviation) (out []string) {
	s.Helper()
	list, err := s.InTheWay(s.ctx, s.sc, d.ID)
	s.must(err)
	for _, r := range list {
		out = append(out, r.Code)
	}
	slices.Sort(out)
	return slices.Compact(out)
}

// contained acknowledges every hold of a deviation in full and traces it.
func (s *site) contained(d Deviation) {
	s.Helper()
	for _, code := range s.held(d) {
		h := s.holdOf(d, code)
		amount := "100"
		if h.Quantity != nil {
			amount = *h.Quantity
		}
		s.must(s.acknowledge(d, code, amount))
	}
	if s.now(d).RetraceDue != nil {
		s.trace(d)
	}
	if got := s.now(d).State; got != Traced {
		s.Fatalf("deviation %d is %s", d.ID, got)
	}
}
