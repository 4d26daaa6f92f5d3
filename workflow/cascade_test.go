package workflow

import (
	"slices"
	"strconv"
	"testing"
	"time"

	"lastgood/workflow/actor"
	"lastgood/workflow/fault"
	"lastgood/workflow/hold"
	"lastgood/workflow/instrument"
	"lastgood/workflow/pg"
)

// pending returns the cascades that pend.
func (s *site) pending() []Cascade {
	s.Helper()
	list, err := s.Cascades(s.ctx, s.sc, CascadePending, 0, 100)
	s.must(err)
	return list
}

func (s *site) tree(c Cascade) Foreseen {
	s.Helper()
	f, err := c.Tree()
	s.must(err)
	return f
}

// secondPerson is somebody else.
func (s *site) secondPerson() pg.Scope {
	sc := s.sc
	sc.By = actor.Actor{ID: "qa-2", Kind: actor.Person}
	return sc
}

// confirmAll lets a second person confirm whatever pends.
func (s *site) confirmAll() {
	s.Helper()
	for list := s.pending(); len(list) > 0; list = s.pending() {
		_, err := s.ConfirmCascade(s.ctx, s.secondPerson(), list[0].ID, list[0].Digest)
		s.must(err)
	}
}

// heldNow returns the lots that are held, whatever for.
func (s *site) heldNow() []string {
	s.Helper()
	lots := []string{}
	s.query(&lots, `select distinct l.code from hold h join portion p using (plant_id, portion_id) join lot l using (plant_id, lot_id)
		where h.lifted_at is null order by 1`)
	return lots
}

// fallenReference: T-1 passed against R-1 on the 4th and read lots before and
// after; R-1 fails on the 5th.
func fallenReference(s *site) Cascade {
	s.Helper()
	s.makes("earlier", "later")
	s.reads(cooked("T-1", march(3, 0, 0), 72, "earlier"), cooked("T-1", march(5, 0, 0), 72, "later"))
	s.record(against(checkOf("T-1", march(4, 0, 0), 0), "R-1"))
	s.fails("R-1", march(5, 12, 0))
	list := s.pending()
	if len(list) != 1 {
		s.Fatalf("%d cascades pend", len(list))
	}
	return list[0]
}

// Holding never waits, and nothing else is done until a second person has seen
// the tree: no deviation, no window.
func TestCascadeHoldsAtOnceAndWaitsWithTheRest(t *testing.T) {
	t.Parallel()
	s := newSite(t)
	c := fallenReference(s)
	if got := s.heldNow(); !slices.Equal(got, []string{"earlier", "later"}) {
		t.Errorf("held: %v", got)
	}
	if n := len(s.deviationsOf("T-1")); n != 0 {
		t.Errorf("%d deviations of T-1 before anybody confirmed", n)
	}
	f := s.tree(c)
	w := f.Below[0].Windows[0]
	if w.Deviation != nil || w.Becomes != becomesOpen || w.Before != nil || !w.After.After.Equal(march(2, 6, 0)) || w.After.Until != nil {
		t.Errorf("%+v", w)
	}
	if len(w.Lots) != 2 || w.Lots[0].Lot != "earlier" || !w.Lots[0].InControl || *w.Lots[0].Quantity != "100" {
		t.Errorf("%+v", w.Lots)
	}
	k := f.Below[0].Checks[0]
	if !k.PerformedAt.Equal(march(4, 0, 0)) || k.Change != changeFalls || !slices.Equal(k.Against, []string{"R-1"}) || k.Why != "the reference R-1 was itself in doubt" {
		t.Errorf("%+v", k)
	}
	list, err := s.DeviationsAfter(s.ctx, s.sc, "", 0, 10)
	s.must(err)
	if len(list) != 1 || list[0].CascadePending == nil || *list[0].CascadePending != c.ID {
		t.Errorf("the deviation of R-1 does not say that a cascade pends: %+v", list)
	}
}

// The one whose entry it was does not confirm it; whoever does, does it once, and
// the guard's count stays.
func TestCascadeIsConfirmedByASecondPersonOnce(t *testing.T) {
	t.Parallel()
	s := newSite(t)
	c := fallenReference(s)
	holds, err := s.HoldsAfter(s.ctx, s.sc, 0, 0, 10)
	s.must(err)
	i := slices.IndexFunc(holds, func(h hold.Hold) bool { return h.LotCode == "earlier" })
	if h := holds[i]; h.Deviation != 0 || h.Cascade != int64(c.ID) {
		t.Errorf("the hold belongs to %+v", h)
	}
	_, err = s.AcknowledgeHold(s.ctx, s.sc, holds[i].ID, holds[i].Version, *kg("100"))
	s.must(err)

	_, err = s.ConfirmCascade(s.ctx, s.sc, c.ID, c.Digest)
	s.ruled(err, fault.Forbidden, "second-person-required")
	second := s.secondPerson()
	second.IdemKey = "k"
	for range 2 {
		done, err := s.ConfirmCascade(s.ctx, second, c.ID, c.Digest)
		s.must(err)
		if done.State != CascadeConfirmed || *done.ConfirmedBy != "qa-2" {
			t.Errorf("%+v", done)
		}
	}
	second.IdemKey = "" // again, as a new request
	_, err = s.ConfirmCascade(s.ctx, second, c.ID, c.Digest)
	s.must(err)
	list := s.deviationsOf("T-1")
	if len(list) != 1 || list[0].RetraceDue == nil {
		t.Fatalf("%+v", list)
	}
	s.holds(list[0], "earlier", "later")
	if h := s.holdOf(list[0], "earlier"); h.AcknowledgedAt == nil || *h.Counted != "100" || h.Cascade != int64(c.ID) {
		t.Errorf("the count was lost: %+v", h)
	}
	if n := s.count(`select count(*) from hold where deviation_id is null`); n != 0 {
		t.Errorf("%d holds were left behind", n)
	}
	s.must(s.db.Read(s.ctx, s.sc, func(tx *pg.Tx) error {
		var actions []string
		err := tx.SelectContext(s.ctx, &actions, `select convert_from(body, 'UTF8')::json ->> 'action' from trail_entry where stream = $1 order by seq`, c.stream())
		if want := []string{"cascade.previewed", "hold.placed", "hold.acknowledged", "cascade.confirmed"}; !slices.Equal(actions, want) {
			t.Errorf("trail %v", actions)
		}
		return err
	}))
}

// ruled fails unless an error is of a kind and a rule.
func (s *site) ruled(err error, kind fault.Kind, rule string) {
	s.Helper()
	if !isFault(err, kind, rule) {
		s.Errorf("%v: want %s", err, rule)
	}
}

// What comes in meanwhile is held as well, and makes the preview that was seen an
// old one: nothing is confirmed that nobody has looked at.
func TestCascadeIsSeenAnewAfterLateEvidence(t *testing.T) {
	t.Parallel()
	s := newSite(t)
	c := fallenReference(s)
	s.makes("late")
	s.reads(cooked("T-1", march(4, 12, 0), 72, "late"))
	now, err := s.ConfirmCascade(s.ctx, s.secondPerson(), c.ID, c.Digest)
	s.ruled(err, fault.Conflict, "preview-outdated")
	if now.State != CascadePending || s.tree(now).Lots != 3 {
		t.Errorf("%+v", s.tree(now))
	}
	if got := s.heldNow(); !slices.Equal(got, []string{"earlier", "late", "later"}) {
		t.Errorf("held: %v", got)
	}
	s.reads(cooked("T-1", march(4, 13, 0), 72, "later still"))
	_, err = s.RetraceDue(s.ctx) // as the server does by itself
	s.must(err)
	if got := s.heldNow(); !slices.Contains(got, "later still") {
		t.Errorf("held: %v", got)
	}
	s.confirmAll()
	s.holds(s.deviationsOf("T-1")[0], "earlier", "late", "later", "later still")
}

// The failed instrument's own checks are no cascade: what T-1 shows itself
// counts at once, and a pass on the next day opens nothing ahead of the
// confirmation.
func TestOwnChecksDoNotWaitAndDoNotConfirm(t *testing.T) {
	t.Parallel()
	s := newSite(t)
	fallenReference(s)
	if opened := s.check("T-1", march(6, 0, 0), 0); len(opened) != 0 {
		t.Errorf("a clear pass opened %+v", opened)
	}
	if opened := s.check("T-1", march(7, 0, 0), 3); len(opened) != 1 {
		t.Errorf("a failed check opened %+v", opened)
	}
	if len(s.pending()) != 1 {
		t.Errorf("%d cascades pend", len(s.pending()))
	}
	s.confirmAll()
	if n := len(s.deviationsOf("T-1")); n != 2 { // that of the 4th ended with the pass of the 6th
		t.Errorf("%d deviations of T-1", n)
	}
}

// Whoever recorded a part of what a cascade rests on does not confirm it.
func TestEverybodyWhoseEntryItWasIsRefused(t *testing.T) {
	t.Parallel()
	s := newSite(t)
	c := fallenReference(s)
	second := s.secondPerson()
	_, err := s.Record(s.ctx, second, Happenings{Events: []instrument.Event{{Instrument: "R-1", At: march(5, 18, 0), Kind: instrument.RemovedFromUse}}})
	s.must(err)
	if c, err = s.Cascade(s.ctx, s.sc, c.ID); err != nil || !slices.Equal(c.Actors, []string{"qa-1", "qa-2"}) {
		t.Fatalf("%v %v", c.Actors, err)
	}
	for _, sc := range []pg.Scope{s.sc, second} {
		_, err = s.ConfirmCascade(s.ctx, sc, c.ID, c.Digest)
		s.ruled(err, fault.Forbidden, "second-person-required")
	}
	third := s.sc
	third.By = actor.Actor{ID: "qa-3", Kind: actor.Person}
	_, err = s.ConfirmCascade(s.ctx, third, c.ID, c.Digest)
	s.must(err)
}

// A plant that is stopped between the entry and the confirmation has its holds,
// and goes on where it was.
func TestHoldsOutliveAStopBeforeTheConfirmation(t *testing.T) {
	t.Parallel()
	svc, dsn := openService(t)
	db, err := pg.Open(t.Context(), dsn.App, func() time.Time { return march(28, 13, 0) })
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { db.Close() })
	s := siteOn(t, svc)
	c := fallenReference(s)
	s.must(svc.db.Close())
	s.Service, err = New(db)
	s.must(err)
	if got := s.heldNow(); !slices.Equal(got, []string{"earlier", "later"}) {
		t.Errorf("held: %v", got)
	}
	_, err = s.ConfirmCascade(s.ctx, s.secondPerson(), c.ID, c.Digest)
	s.must(err)
	s.holds(s.deviationsOf("T-1")[0], "earlier", "later")
}

// What a reference regains, those below regain with it, and that waits as well: a
// clear pass that becomes known late ends the doubt of R-1 before T-1 was checked
// against it, and so T-1's own window, from its failure on the 6th, is shorter.
func TestWorthThatIsRegainedWaitsToo(t *testing.T) {
	t.Parallel()
	s := newSite(t)
	fallenReference(s)
	s.check("T-1", march(6, 0, 0), 3)
	s.confirmAll()
	s.check("R-1", march(4, 12, 0), 0)
	list := s.pending()
	if len(list) != 1 {
		t.Fatalf("%d cascades pend", len(list))
	}
	below := s.tree(list[0]).Below[0]
	if below.Checks[0].Change != changeRegains || !below.Checks[0].PerformedAt.Equal(march(4, 0, 0)) {
		t.Errorf("%+v", below)
	}
	if w := below.Windows[0]; w.Becomes != becomesNarrower || !w.Before.After.Equal(march(2, 6, 0)) || !w.After.After.Equal(march(4, 0, 0)) {
		t.Errorf("%+v", w)
	}
	before := s.heldNow()
	s.confirmAll()
	if after := s.heldNow(); !slices.Equal(before, after) {
		t.Errorf("held %v, and after the confirmation %v: only people lift", before, after)
	}
}

// Confirmed by many at once, and read into at the same time: it happens once, and
// nothing that comes in meanwhile is missed.
func TestCascadeIsConfirmedByManyAtOnce(t *testing.T) {
	t.Parallel()
	s := newSite(t)
	c := fallenReference(s)
	atOnce(8, func(i int) {
		if i%2 == 1 {
			_, err := s.TakeReadings(s.ctx, s.sc, chunk(strconv.Itoa(i), cooked("T-1", march(4, 12, i), 72, "more-"+strconv.Itoa(i))))
			if err != nil {
				t.Error(err)
			}
			return
		}
		_, err := s.ConfirmCascade(s.ctx, s.secondPerson(), c.ID, c.Digest)
		if err != nil && !isFault(err, fault.Conflict, "preview-outdated") {
			t.Error(err)
		}
	})
	_, err := s.RetraceDue(s.ctx)
	s.must(err)
	s.confirmAll()
	if n := len(s.deviationsOf("T-1")); n != 1 {
		t.Errorf("%d deviations of T-1", n)
	}
	s.holds(s.deviationsOf("T-1")[0], "earlier", "later", "more-1", "more-3", "more-5", "more-7")
}
