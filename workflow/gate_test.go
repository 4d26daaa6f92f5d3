package workflow

import (
	"fmt"
	"slices"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"lastgood/policy/unit"
	"lastgood/workflow/fault"
	"lastgood/workflow/lot"
	"lastgood/workflow/pg"
)

// asks asks the gate for one lot and returns the rules that it names, each once,
// sorted; none: it may ship.
func (s *site) asks(it GateItem) []string {
	s.Helper()
	a, err := s.MayShip(s.ctx, s.sc, GateQuestion{Items: []GateItem{it}, Shipment: "S-1", Consignee: "a customer"})
	s.must(err)
	rules := []string{}
	for _, r := range a.Items[0].Reasons {
		if r.Detail == "" || r.Lot == "" {
			s.Errorf("a reason says nothing: %+v", r)
		}
		rules = append(rules, r.Rule)
	}
	slices.Sort(rules)
	if a.MayShip != (len(rules) == 0) || a.Items[0].MayShip != a.MayShip {
		s.Errorf("%+v", a)
	}
	return slices.Compact(rules)
}

// gate fails unless the gate names exactly these rules for a lot.
func (s *site) gate(code string, want ...string) {
	s.Helper()
	slices.Sort(want)
	if got := s.asks(GateItem{Lot: code}); !slices.Equal(got, want) {
		s.Errorf("gate for %s: %v, want %v", code, got, want)
	}
}

func TestGateIsOpenOnlyForWhatIsKnown(t *testing.T) {
	t.Parallel()
	s := newSite(t)
	s.makes("A", "gone")
	s.ships("gone", "100", march(4, 0, 0))
	s.turns("A", "named", march(4, 0, 0))
	s.gate("A")
	s.gate("nobody's", gateUnknown)
	s.gate("named", gateNamedOnly)
	s.gate("gone", gateNothing)
	for _, c := range []struct {
		portion  string
		quantity *unit.Quantity
		want     string
	}{
		{"", kg("90"), ""}, {"", kg("90.000000"), ""}, {"", kg("90.000001"), gateTooMuch}, {"", kg("0"), ""},
		{"", &unit.Quantity{Amount: "1", Unit: "case"}, gateUndecided}, {"pallet 1", nil, gatePortion},
	} {
		got := s.asks(GateItem{Lot: "A", Portion: c.portion, Quantity: c.quantity})
		if (c.want == "") != (len(got) == 0) || c.want != "" && !slices.Equal(got, []string{c.want}) {
			t.Errorf("%q %v: %v, want %s", c.portion, c.quantity, got, c.want)
		}
	}
	s.added(s.AddLots(s.ctx, s.sc, []lot.Lot{{Code: "unweighed"}}))
	if got := s.asks(GateItem{Lot: "unweighed", Quantity: kg("1")}); !slices.Equal(got, []string{gateUndecided}) {
		t.Errorf("a quantity of what nobody weighed: %v", got)
	}
	s.gate("unweighed")
}

// Items of one lot add up, and one item that must not ship keeps the truck.
func TestGateAddsUpItems(t *testing.T) {
	t.Parallel()
	s := newSite(t)
	s.makes("A", "B")
	a, err := s.MayShip(s.ctx, s.sc, GateQuestion{Items: []GateItem{{Lot: "A", Quantity: kg("60")}, {Lot: "B"}, {Lot: "A", Quantity: kg("40.5")}}})
	s.must(err)
	if a.MayShip || a.Items[0].MayShip || !a.Items[1].MayShip || a.Items[2].MayShip {
		t.Errorf("%+v", a)
	}
	if got, want := a.Items[0].Reasons[0].Detail, "100.5 kg is more than the 100 kg of lot A that is in control"; got != want {
		t.Errorf("%s, want %s", got, want)
	}
	if a.ValidUntil.Sub(a.AsOf) != gateValidity || gatePatience >= gateValidity || !a.AsOf.Equal(march(28, 12, 0)) {
		t.Errorf("as of %v until %v", a.AsOf, a.ValidUntil)
	}
}

// A plant without a policy judges nothing.
func TestGateIsClosedWithoutAPolicy(t *testing.T) {
	t.Parallel()
	svc, _ := openService(t)
	s := siteOn(t, svc)
	id, err := svc.Plant(s.ctx, "no policy", "UTC", nil)
	s.must(err)
	s.sc.Plant = id
	s.makes("A")
	s.gate("A", gateNoPolicy)
}

// Every reason is told at once: the lot's own hold, that of its ancestor, and
// whether anybody has acknowledged them.
func TestGateTellsEveryReason(t *testing.T) {
	t.Parallel()
	s, d := withHolds(t)
	s.trace(d)
	s.must(s.acknowledge(d, "A", "100"))
	s.turns("A", "made", march(7, 0, 0))
	s.makes("made")
	s.gate("A", gateOnHold, gateQueued)
	s.gate("made", gateMadeOfHeld, gateQueued)
	s.trace(d)
	s.gate("made", gateMadeOfHeld, gateOnHold)
	a, err := s.MayShip(s.ctx, s.sc, GateQuestion{Items: []GateItem{{Lot: "made"}}})
	s.must(err)
	held, made := s.holdOf(d, "A").ID, s.holdOf(d, "made").ID
	want := []GateReason{
		{Rule: gateMadeOfHeld, Detail: fmt.Sprintf("hold %d stands on lot A, of which lot made was made, because of deviation 1; whoever guards the stock has acknowledged it", held),
			Lot: "A", Hold: int64(held), Deviation: 1},
		{Rule: gateOnHold, Detail: fmt.Sprintf("hold %d stands on lot made, because of deviation 1; nobody has acknowledged it", made), Lot: "made", Hold: int64(made), Deviation: 1}}
	if diff := cmp.Diff(want, a.Items[0].Reasons); diff != "" {
		t.Error(diff)
	}
}

// A late reading names a lot that the deviation does not doubt yet: until it is
// traced again the gate is closed for it, and for whatever the instrument read.
func TestGateWaitsForTheQueuedTrace(t *testing.T) {
	t.Parallel()
	s, d := withHolds(t)
	s.makes("late", "clear", "stored")
	s.reads(cooked("T-2", march(4, 0, 0), 72, "clear"))
	s.trace(d)
	s.gate("late")
	s.gate("clear")
	s.reads(cooked("T-1", march(4, 0, 0), 72, "late"))
	s.gate("late", gateQueued)
	s.gate("clear")
	s.trace(d)
	s.gate("late", gateOnHold)
	s.hangs()
	s.stood("stored", march(3, 0, 0), march(3, 6, 0))
	s.gate("stored", gateQueued)
	s.trace(d)
	s.gate("clear")
}

// A lot that is registered late, under a limit that has no record of every lot.
func TestGateWaitsForLotsRegisteredLate(t *testing.T) {
	t.Parallel()
	s := newSite(t)
	s.adopts(discretePolicy)
	s.reads(cooked("T-1", march(3, 0, 0), 72, "A"))
	s.makes("A")
	d := s.fails("T-1", march(5, 6, 0))
	s.trace(d)
	s.madeAt("late", "roast", march(4, 0, 0))
	s.gate("late", gateLate)
	s.trace(d)
	s.gate("late", gateOnHold)
}

func TestGateWaitsForLotsRegisteredLateInACascade(t *testing.T) {
	t.Parallel()
	s := newSite(t)
	s.adopts(discretePolicy)
	fallenReference(s)
	_, err := s.RetraceDue(s.ctx)
	s.must(err)
	s.madeAt("late", "roast", march(4, 0, 0))
	s.gate("late", gateLate)
	_, err = s.RetraceDue(s.ctx)
	s.must(err)
	s.gate("late", gateOnHold, gateCascade)
}

const discretePolicy = `
limits:
  - {limit: cook, kind: at_least, temperature: 71 C, hazard: salmonella, monitoring: discrete, applies_to: {products: [roast]}}
severities: {salmonella: serious}
`

// What a reference takes with it is held at once; what comes later waits until
// somebody has looked at the cascade again.
func TestGateIsClosedForPendingCascades(t *testing.T) {
	t.Parallel()
	s := newSite(t)
	fallenReference(s)
	s.gate("earlier", gateOnHold, gateCascade)
	s.makes("new", "clear")
	s.reads(cooked("T-1", march(5, 1, 0), 72, "new"), cooked("T-2", march(5, 1, 0), 72, "clear"))
	s.gate("new", gateCascade)
	s.gate("clear")
	_, err := s.RetraceDue(s.ctx)
	s.must(err)
	s.gate("new", gateOnHold, gateCascade)
	s.confirmAll()
	_, err = s.RetraceDue(s.ctx)
	s.must(err)
	s.gate("earlier", gateOnHold)
	s.gate("clear")
}

func TestGateOfAnotherPlantSeesNothing(t *testing.T) {
	t.Parallel()
	svc, _ := openService(t)
	s, other := siteOn(t, svc), openPlant(t, svc, "another")
	s.makes("A", "mine")
	s.reads(cooked("T-1", march(3, 0, 0), 72, "A"))
	s.fails("T-1", march(5, 6, 0))
	other.gate("mine", gateUnknown)
	other.makes("A")
	other.gate("A")
}

// Every question is kept with its answer, who asked and for what.
func TestQuestionsAreRecorded(t *testing.T) {
	t.Parallel()
	s := newSite(t)
	s.makes("A")
	a, err := s.MayShip(s.ctx, s.sc, GateQuestion{Items: []GateItem{{Lot: "A"}, {Lot: "B"}}, Shipment: "S-9", Consignee: "a customer"})
	s.must(err)
	var row []struct {
		By      string `db:"asked_by"`
		Ship    string `db:"shipment"`
		To      string `db:"consignee"`
		Refused int    `db:"refused"`
		Allowed int    `db:"allowed"`
		Body    string `db:"body"`
	}
	s.query(&row, `select asked_by, shipment, consignee, refused, cardinality(allowed) as allowed,
		convert_from(body, 'UTF8')::jsonb #>> '{items,1,reasons,0,rule}' as body from ship_question where question_id = $1`, a.Question)
	if len(row) != 1 || row[0].By != "qa-1" || row[0].Ship != "S-9" || row[0].To != "a customer" || row[0].Refused != 1 || row[0].Allowed != 1 || row[0].Body != gateUnknown {
		t.Errorf("%+v", row)
	}
}

// A database that takes no writes answers nothing: it may be a standby that
// knows less than the primary.
func TestGateOfAReadOnlyDatabaseAnswersNothing(t *testing.T) {
	t.Parallel()
	svc, dsn := openService(t)
	s := siteOn(t, svc)
	s.makes("A")
	readOnly, err := pg.Open(t.Context(), dsn.App+" default_transaction_read_only=on", func() time.Time { return march(28, 12, 0) })
	s.must(err)
	t.Cleanup(func() { readOnly.Close() })
	standby, err := New(readOnly)
	s.must(err)
	a, err := standby.MayShip(s.ctx, s.sc, GateQuestion{Items: []GateItem{{Lot: "A"}}})
	if fault.KindOf(err) != fault.Busy || a.MayShip || len(a.Items) != 0 {
		t.Errorf("answered %+v, %v", a, err)
	}
}
