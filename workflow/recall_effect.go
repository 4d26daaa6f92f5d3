package workflow

import (
	"context"
	"crypto/rand"
	"encoding/binary"
	"fmt"
	"slices"
	"strings"
	"time"

	"github.com/go-json-experiment/json"

	"lastgood/policy/disposition"
	"lastgood/workflow/decision"
	"lastgood/workflow/fault"
	"lastgood/workflow/pg"
	"lastgood/workflow/recall"
)

// DrawRecallSample draws which consignees are checked, at the level that was
// decided. The seed is kept with the list it was drawn from, so that anybody draws
// the same; nil: one is taken at random.
func (s *Service) DrawRecallSample(ctx context.Context, sc pg.Scope, id DeviationID, seed *int64) (RecallDesk, error) {
	return s.atDesk(ctx, sc, id, "draw sample", seed, whoChecks, func(tx *pg.Tx, k *desk) error {
		if err := k.goesOn("a sample", RecallNotified, Retrieving, EffectivenessChecking); err != nil {
			return err
		}
		if k.drawn() {
			return fault.New(fault.Refused, "already-drawn", "a sample of all consignees was drawn at level %s with seed %d: another would be a choice", k.pack.Level, k.Samples[len(k.Samples)-1].Seed)
		}
		if seed == nil {
			n, err := anySeed()
			if err != nil {
				return err
			}
			seed = &n
		}
		perMille, ok := recall.PerMille(k.pack.Level, k.pack.Share)
		if !ok {
			return fmt.Errorf("recall %d was decided at level %q with a share of %d", k.r.ID, k.pack.Level, k.pack.Share)
		}
		all := k.consignees()
		from, drawn := recall.Draw(all, recall.Size(len(all), perMille), *seed)
		row := recall.Sample{Level: k.pack.Level, Share: fmt.Sprint(k.pack.Share), Seed: *seed, Population: from, Drawn: drawn}
		if err := recall.AddSample(ctx, tx, k.r.ID, row); err != nil {
			return err
		}
		return k.said(ctx, tx, "sample_drawn", string(row.Level), time.Time{}, map[string]any{"seed": *seed, "share": row.Share, "population": from, "drawn": drawn})
	})
}

// anySeed is a number that nobody chose.
func anySeed() (int64, error) {
	var b [8]byte
	if _, err := rand.Read(b[:]); err != nil {
		return 0, fmt.Errorf("seed: %w", err)
	}
	return int64(binary.BigEndian.Uint64(b[:]) >> 11), nil // so that every reader of JSON keeps it whole
}

// NewEffectivenessCheck is whether a consignee was found to have acted on the notice.
type NewEffectivenessCheck struct {
	Consignee string    `json:"consignee"`
	Passed    bool      `json:"passed"`
	Method    string    `json:"method"`
	Person    string    `json:"person"`
	Note      string    `json:"note"`
	At        time.Time `json:"at"`
}

// CheckConsignees records effectiveness checks, all of the list or none. Whoever
// fails is to be told again.
func (s *Service) CheckConsignees(ctx context.Context, sc pg.Scope, id DeviationID, list []NewEffectivenessCheck) (RecallDesk, error) {
	return s.atDesk(ctx, sc, id, "check consignees", list, whoChecks, func(tx *pg.Tx, k *desk) error {
		if err := k.goesOn("a check", Retrieving, EffectivenessChecking); err != nil {
			return err
		}
		var bad fault.Rows
		for i, n := range list {
			if err := k.mayCheck(n, tx.Now); err != nil {
				bad.Add(i, err.(*fault.Error))
			}
		}
		if bad != nil {
			return bad
		}
		for _, n := range list {
			row := recall.Check{Consignee: n.Consignee, Notice: k.lastNotice(n.Consignee).ID, Passed: n.Passed, Method: n.Method, Person: n.Person, Note: n.Note, At: n.At}
			if err := recall.AddCheck(ctx, tx, k.r.ID, row); err != nil {
				return err
			}
			if err := k.said(ctx, tx, "consignee_checked", n.Consignee, n.At, n); err != nil {
				return err
			}
		}
		return nil
	})
}

func (k *desk) mayCheck(n NewEffectivenessCheck, now time.Time) error {
	if err := happened(n.At, now); err != nil {
		return err
	}
	if err := blank([2]string{"method", n.Method}, [2]string{"person", n.Person}); err != nil {
		return err
	}
	switch {
	case !slices.Contains(k.consignees(), n.Consignee):
		return fault.New(fault.NotFound, "unknown-consignee", "nothing in doubt of deviation %d went to %q", k.c.d.ID, n.Consignee).In("consignee")
	case k.lastNotice(n.Consignee) == nil:
		return fault.New(fault.Refused, "not-told", "%s was not told yet: there is no notice whose effect could be checked", n.Consignee).In("consignee")
	case !n.Passed && strings.TrimSpace(n.Note) == "":
		return fault.New(fault.Invalid, "reason-missing", "say what was found").In("note")
	}
	return nil
}

// StatusCounts are what a status report says (21 CFR 7.53(b), row RC-13).
type StatusCounts struct {
	Consignees    int               `json:"consignees"`
	Notified      int               `json:"notified"`
	ByMethod      map[string]int    `json:"notified_by_method"`
	FirstNotice   *time.Time        `json:"first_notice"`
	LastNotice    *time.Time        `json:"last_notice"`
	Responded     int               `json:"responded"`
	NotResponded  []string          `json:"not_responded"`
	OnHand        map[string]string `json:"on_hand"`               // by unit
	Retrieved     map[string]string `json:"returned_or_corrected"` // carried out
	Unrecoverable map[string]string `json:"accounted_for"`         // carried out
	Checks        int               `json:"effectiveness_checks"`
	Passed        int               `json:"effectiveness_checks_passed"`
	Level         recall.Level      `json:"effectiveness_level"`
	Completion    string            `json:"estimated_completion"`
}

// NewStatusReport is that the agency was told how the recall stands.
type NewStatusReport struct {
	SentTo     string    `json:"sent_to"`
	Reference  string    `json:"reference"`
	Completion string    `json:"estimated_completion"`
	NextDays   int       `json:"next_in_days"` // until the next report; 0: 14
	At         time.Time `json:"at"`
}

// ReportRecallStatus makes a status report of the ledger as it stands and records
// that it was sent. The next one is due within the days that it says: two to four
// weeks.
func (s *Service) ReportRecallStatus(ctx context.Context, sc pg.Scope, id DeviationID, n NewStatusReport) (RecallDesk, error) {
	return s.atDesk(ctx, sc, id, "recall status", n, whoTells, func(tx *pg.Tx, k *desk) error {
		if err := k.goesOn("a status report", running...); err != nil {
			return err
		}
		if err := happened(n.At, tx.Now); err != nil {
			return err
		}
		if err := blank([2]string{"sent_to", n.SentTo}, [2]string{"estimated_completion", n.Completion}); err != nil {
			return err
		}
		days := n.NextDays
		if days == 0 {
			days = leastStatusDays
		}
		if days < leastStatusDays || days > mostStatusDays {
			return fault.New(fault.Invalid, "out-of-range", "the next report is due in %d to %d days (21 CFR 7.53: usually every 2 to 4 weeks)", leastStatusDays, mostStatusDays).In("next_in_days")
		}
		counts := k.counts(n.Completion)
		body, err := json.Marshal(counts, json.Deterministic(true))
		if err != nil {
			return fmt.Errorf("status report: %w", err)
		}
		row := recall.Status{Body: body, SentTo: n.SentTo, Reference: n.Reference, At: n.At, NextDays: days}
		if err := recall.AddStatus(ctx, tx, k.r.ID, row); err != nil {
			return err
		}
		return k.said(ctx, tx, "status_reported", n.SentTo, n.At, map[string]any{"counts": counts, "reference": n.Reference, "next_in_days": days})
	})
}

func (k *desk) counts(completion string) StatusCounts {
	c := StatusCounts{Consignees: len(k.consignees()), ByMethod: map[string]int{}, NotResponded: []string{}, OnHand: map[string]string{},
		Retrieved: map[string]string{}, Unrecoverable: map[string]string{}, Level: k.pack.Level, Completion: completion}
	for _, name := range k.consignees() {
		n := k.lastNotice(name)
		if n == nil {
			continue
		}
		c.Notified++
		c.ByMethod[n.Method]++
		if c.FirstNotice == nil || n.At.Before(*c.FirstNotice) {
			c.FirstNotice = &n.At
		}
		if c.LastNotice == nil || n.At.After(*c.LastNotice) {
			c.LastNotice = &n.At
		}
	}
	answered := map[string]bool{}
	for _, line := range k.consignments() {
		if line.Said != nil {
			answered[line.Consignee] = true
			addTo(c.OnHand, line.Said.Unit, line.Said.OnHand)
		}
		if line.Unit != nil {
			addTo(c.Retrieved, *line.Unit, line.Retrieved)
			addTo(c.Unrecoverable, *line.Unit, line.Unrecoverable)
		}
	}
	for _, name := range k.consignees() {
		if answered[name] {
			c.Responded++
		} else {
			c.NotResponded = append(c.NotResponded, name)
		}
	}
	for _, x := range k.Checks {
		c.Checks++
		if x.Passed {
			c.Passed++
		}
	}
	return c
}

// NewLetter is a letter of the agency, or to it.
type NewLetter struct {
	Class     string    `json:"class,omitzero"` // as the agency says it
	Reference string    `json:"reference"`
	At        time.Time `json:"at"`
	Text      string    `json:"text"`             // kept as it is; empty: the reference only
	Refused   bool      `json:"refused,omitzero"` // the agency does not end it yet
}

// RecordRecallClass records the class that the agency gave. It is never worked out.
func (s *Service) RecordRecallClass(ctx context.Context, sc pg.Scope, id DeviationID, n NewLetter) (RecallDesk, error) {
	return s.letter(ctx, sc, id, "recall class", "class", n, func(_ *pg.Tx, k *desk) error {
		if !slices.Contains([]string{"I", "II", "III"}, n.Class) {
			return fault.New(fault.Invalid, "unknown-word", "the agency gives class I, II or III").In("class")
		}
		return k.goesOn("a class", append([]State{RecallTerminated}, running...)...)
	})
}

// RequestRecallTermination records that the agency was asked to end the recall.
// Everything that left is accounted for by then, and what came back disposed of.
func (s *Service) RequestRecallTermination(ctx context.Context, sc pg.Scope, id DeviationID, n NewLetter) (RecallDesk, error) {
	return s.letter(ctx, sc, id, "request termination", "termination_request", n, func(tx *pg.Tx, k *desk) error {
		f := k.facts()
		f.Reference = true
		return k.move(ctx, tx, RequestTermination, f, map[string]any{"letter": n.Reference, "counts": k.counts("")}, "")
	})
}

// TerminateRecall records the agency's reply. Of a market withdrawal or a stock
// recovery, which no agency ends, the reference is of the plant's own paper.
func (s *Service) TerminateRecall(ctx context.Context, sc pg.Scope, id DeviationID, n NewLetter) (RecallDesk, error) {
	return s.letter(ctx, sc, id, "terminate recall", "termination", n, func(tx *pg.Tx, k *desk) error {
		f, e := k.facts(), Terminate
		f.Reference = true
		if n.Refused {
			e = RefuseTermination
		}
		return k.move(ctx, tx, e, f, map[string]any{"letter": n.Reference}, "")
	})
}

func (s *Service) letter(ctx context.Context, sc pg.Scope, id DeviationID, what, kind string, n NewLetter, first func(*pg.Tx, *desk) error) (RecallDesk, error) {
	return s.atDesk(ctx, sc, id, what, n, []disposition.Role{disposition.RegulatoryLiaison}, func(tx *pg.Tx, k *desk) (err error) {
		if err := happened(n.At, tx.Now); err != nil {
			return err
		}
		if err := blank([2]string{"reference", n.Reference}); err != nil {
			return err
		}
		if err := first(tx, k); err != nil {
			return err
		}
		row := recall.Letter{Kind: kind, Says: n.Class, Reference: n.Reference, At: n.At}
		if n.Refused {
			row.Says = "refused"
		}
		if n.Text != "" {
			if row.Digest, err = decision.Keep(ctx, tx, "text/plain; charset=utf-8", []byte(n.Text)); err != nil {
				return err
			}
		}
		if err := recall.AddLetter(ctx, tx, k.r.ID, row); err != nil {
			return err
		}
		return k.said(ctx, tx, "letter_recorded", kind, n.At, n)
	})
}
