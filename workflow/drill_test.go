package workflow

import (
	"database/sql"
	"errors"
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"

	"lastgood/policy/limit"
	"lastgood/policy/unit"
	"lastgood/workflow/fault"
	"lastgood/workflow/hold"
	"lastgood/workflow/instrument"
	"lastgood/workflow/lot"
)

// everyRow digests every row of every table, and what every sequence has
// handed out.
func everyRow(t *testing.T, db *sql.DB) map[string]string {
	t.Helper()
	out := map[string]string{}
	for _, table := range names(t, db, `select c.relname from pg_class c where c.relnamespace = 'public'::regnamespace
		and c.relkind in ('r', 'p') order by 1`) {
		var digest string
		q := fmt.Sprintf(`select count(*) || ' ' || md5(coalesce(string_agg(t::text, '|' order by t::text), '')) from %q t`, table)
		if err := db.QueryRow(q).Scan(&digest); err != nil {
			t.Fatal(err)
		}
		out[table] = digest
	}
	for _, s := range names(t, db, `select sequencename || ' ' || coalesce(last_value, 0) from pg_sequences order by 1`) {
		out[s] = "a sequence"
	}
	return out
}

// degrees are suppositions in °C.
func degrees(s Supposition) Supposition {
	s.Scale = unit.CelsiusScale
	return s
}

func TestDrillTouchesNothing(t *testing.T) {
	t.Parallel()
	svc, dsn := openService(t)
	s := siteOn(t, svc)
	fill(s)
	s.record(against(checkOf("T-2", march(6, 0, 0), 0), "R-1"))
	s.reads(cooked("T-2", march(6, 1, 0), 72, "later"))
	db := superuser(t, dsn)
	before := everyRow(t, db)
	if len(before) < 30 {
		t.Fatalf("only %d tables and sequences are looked at", len(before))
	}
	for _, sup := range []Supposition{{Instrument: "T-1"}, {Instrument: "T-2", Error: micro(3)}, {Instrument: "R-1", Error: micro(-3)},
		{Instrument: "T-2", At: march(6, 2, 0), Points: []SupposedPoint{{At: 75 * unit.PerDegree, Error: 3 * unit.PerDegree}}}} {
		d, err := svc.Drill(s.ctx, s.sc, degrees(sup))
		s.must(err)
		if len(d.Reports) == 0 {
			t.Errorf("%+v reaches nothing", sup)
		}
	}
	if diff := cmp.Diff(before, everyRow(t, db)); diff != "" {
		t.Errorf("a drill changed something:\n%s", diff)
	}
}

// busyWeek is product that went through the hands of T-1: cooked with and without
// headroom, kept in the cooler under its eye, made into something else, shipped.
func busyWeek(s *site) {
	s.makes("hot", "warm", "soup", "gone")
	s.added(s.AddProducts(s.ctx, s.sc, []lot.Product{{Code: "roast", Name: "cold roast"}}))
	s.added(s.AddMountings(s.ctx, s.sc, []instrument.Mounting{{Instrument: "T-1", Location: "cooler", From: march(2, 12, 0)}}))
	out := march(4, 12, 0)
	s.added(s.AddStays(s.ctx, s.sc, []lot.Stay{{Lot: "hot", Location: "cooler", From: march(4, 0, 0), To: &out}}))
	s.reads(cooked("T-1", march(3, 7, 0), 80, "hot"), cooked("T-1", march(3, 8, 0), 72, "warm"), cooked("T-1", march(3, 9, 0), 73, "gone"))
	for hour := range 13 {
		r := cooked("T-1", march(4, hour, 0), 3.5, "")
		r.Limit, r.Location = "chill", "cooler"
		s.reads(r)
	}
	s.turns("warm", "soup", march(3, 20, 0))
	s.ships("gone", "100", march(4, 0, 0))
	s.ships("soup", "4.5", march(4, 6, 0))
}

// foretold compares what a drill said of an instrument with what then was.
func (s *site) foretold(said []Report, d Deviation) {
	s.Helper()
	s.trace(d)
	was, err := s.Report(s.ctx, s.sc, d.ID)
	s.must(err)
	i := slices.IndexFunc(said, func(r Report) bool { return r.Run.Instrument == was.Run.Instrument })
	if i < 0 {
		s.Errorf("no drill spoke of %s", was.Run.Instrument)
		return
	}
	same := cmp.Options{
		cmpopts.IgnoreFields(Run{}, "Number", "MadeAt", "OpenedBy", "InputDigest"), // the check has a number then
		cmpopts.IgnoreFields(ErrorPoint{}, "Basis"),
		cmpopts.IgnoreFields(hold.Hold{}, "ID", "Deviation", "PlacedAt", "PlacedBy", "Version", "Cascade"),
		cmpopts.EquateEmpty(),
		cmpopts.EquateApproxTime(0),
	}
	if diff := cmp.Diff(was.Run, said[i].Run, same); diff != "" {
		s.Errorf("%s was foretold otherwise:\n%s", was.Run.Instrument, diff)
	}
	if diff := cmp.Diff(was.Holds, said[i].Holds, same); diff != "" {
		s.Errorf("the holds of %s were foretold otherwise:\n%s", was.Run.Instrument, diff)
	}
	if diff := cmp.Diff(was.Shipped, said[i].Shipped, same); diff != "" {
		s.Errorf("the shipments of %s were foretold otherwise:\n%s", was.Run.Instrument, diff)
	}
}

// The drill of the very failure that later really happens says what the real
// deviation then says: holds, shipments, verdicts, numbers, routes.
func TestDrillForetellsTheFailure(t *testing.T) {
	t.Parallel()
	svc, _ := openService(t)
	at := march(5, 6, 0)
	lost := instrument.Check{Instrument: "T-1", PerformedAt: at, PerformedBy: "tech-1", Unusable: true}
	uneven := checkOf("T-1", at, 3)
	uneven.Points[0].Found = micro(0.5)
	u := micro(0.2)
	for name, c := range map[string]struct {
		sup  Supposition
		then instrument.Check
	}{
		"one error":     {Supposition{Error: micro(3)}, checkOf("T-1", at, 3)},
		"the other way": {Supposition{Error: micro(-3)}, checkOf("T-1", at, -3)},
		"points": {Supposition{Points: []SupposedPoint{{At: *micro(0.5), Error: *micro(0.5), Uncertainty: u},
			{At: *micro(78), Error: *micro(3), Uncertainty: u}}}, uneven},
		"known as well as last time": {Supposition{Points: []SupposedPoint{{At: *micro(0.5), Error: *micro(0.5)},
			{At: *micro(78), Error: *micro(3)}}}, uneven},
		"lost": {Supposition{}, lost},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			s := siteOn(t, svc)
			busyWeek(s)
			c.sup.Instrument, c.sup.At = "T-1", at
			said, err := svc.Drill(s.ctx, s.sc, degrees(c.sup))
			s.must(err)
			opened := s.record(c.then)
			if len(opened) != 1 || len(said.Reports) != 1 {
				t.Fatalf("%d opened, %d foretold", len(opened), len(said.Reports))
			}
			s.foretold(said.Reports, opened[0])
			if !strings.HasPrefix(said.Reports[0].Run.OpenedBy, "is supposed: ") {
				t.Errorf("it says %q", said.Reports[0].Run.OpenedBy)
			}
			if len(said.Reports[0].Run.Assessments) < 3 {
				t.Errorf("only %d assessments were compared", len(said.Reports[0].Run.Assessments))
			}
		})
	}
}

// A reference that fails takes what was checked against it along, to any depth
// (design §4), and so does one that is supposed to.
func TestDrillOfAReferenceForetellsTheWholeTree(t *testing.T) {
	t.Parallel()
	s := newSite(t)
	busyWeek(s)
	s.reads(cooked("T-2", march(4, 12, 0), 72, "other"))
	s.record(against(checkOf("T-2", march(4, 0, 0), 0), "R-1"), against(checkOf("T-1", march(4, 13, 0), 0), "T-2"))
	s.reads(cooked("T-1", march(4, 14, 0), 72, "late"))
	said, err := s.Drill(s.ctx, s.sc, degrees(Supposition{Instrument: "R-1", At: march(5, 6, 0), Error: micro(3)}))
	s.must(err)
	s.check("R-1", march(5, 6, 0), 3)
	s.confirmAll()
	opened := slices.Concat(s.deviationsOf("R-1"), s.deviationsOf("T-2"), s.deviationsOf("T-1"))
	if len(opened) != 3 || len(said.Reports) != 3 {
		t.Fatalf("%d opened, %d foretold", len(opened), len(said.Reports))
	}
	if said.Reports[0].Run.Instrument != "R-1" || said.Totals.Instruments != 3 {
		t.Errorf("first %s, %d instruments", said.Reports[0].Run.Instrument, said.Totals.Instruments)
	}
	for _, d := range opened {
		s.foretold(said.Reports, d)
	}
}

func TestDrillTotals(t *testing.T) {
	t.Parallel()
	s := newSite(t)
	busyWeek(s)
	s.added(s.AddLots(s.ctx, s.sc, []lot.Lot{{Code: "unweighed"}}))
	s.reads(cooked("T-1", march(3, 10, 0), 90, "unweighed"))
	d, err := s.Drill(s.ctx, s.sc, degrees(Supposition{Instrument: "T-1", At: march(5, 6, 0), Error: micro(3)}))
	s.must(err)
	// By hand: 100 of hot; 100 of warm less 10 into the soup; 100 of soup less the
	// 4.5 that have left, as have all 100 of gone. 90 °C, of the lot that nobody
	// weighed, lies beyond the points of the checks and 10 K more. No reading is of
	// the soup.
	want := Totals{Instruments: 1, Readings: 17, Lots: 5, Verdicts: map[limit.Verdict]int{limit.Met: 1, limit.Indeterminate: 2, limit.Unknown: 1},
		NotJudged: 1, Held: Stock{Lots: 4, Quantities: []unit.Quantity{{Amount: "285.5", Unit: "kg"}}, Unknown: 1},
		Shipped: Stock{Lots: 2, Quantities: []unit.Quantity{{Amount: "104.5", Unit: "kg"}}}, Shipments: 2, Consignees: []string{"a customer"}}
	if diff := cmp.Diff(want, d.Totals); diff != "" {
		t.Error(diff)
	}
}

func TestDrillOfAnInstrumentInDoubtSaysSo(t *testing.T) {
	t.Parallel()
	s := newSite(t)
	s.reads(cooked("T-1", march(3, 7, 0), 72, "A"))
	s.fails("T-1", march(4, 0, 0))
	d, err := s.Drill(s.ctx, s.sc, degrees(Supposition{Instrument: "T-1", At: march(5, 0, 0), Error: micro(4)}))
	s.must(err)
	want := "T-1 is in doubt already since 2025-03-04T00:00:00Z: a failure now would join that case"
	if len(d.Reports) == 0 || !slices.Contains(d.Reports[0].Run.Notes, want) {
		t.Errorf("%+v", d.Reports)
	}
}

func TestWhatIsNoSupposition(t *testing.T) {
	t.Parallel()
	s := newSite(t)
	s.added(s.AddInstruments(s.ctx, s.sc, []instrument.Instrument{{Code: "new", Unit: unit.CelsiusScale, Tolerance: unit.PerDegree}}))
	point := []SupposedPoint{{At: 75 * unit.PerDegree, Error: unit.PerDegree}}
	for rule, sup := range map[string]Supposition{
		"unknown-instrument": {Instrument: "T-9"},
		"passes":             {Instrument: "T-1", Error: micro(0.9)},
		"points-or-error":    {Instrument: "T-1", Error: micro(3), Points: point},
		"never-checked":      {Instrument: "new", Error: micro(3)},
		"out-of-range":       {Instrument: "T-1", At: time.Date(1980, 1, 1, 0, 0, 0, 0, time.UTC)},
	} {
		_, err := s.Drill(s.ctx, s.sc, degrees(sup))
		var f *fault.Error
		if !errors.As(err, &f) || f.Rule != rule {
			t.Errorf("%s: %v", rule, err)
		}
	}
	if _, err := s.Drill(s.ctx, s.sc, degrees(Supposition{Instrument: "T-1", Points: point})); !errors.As(err, new(*fault.Error)) {
		t.Errorf("an error of the tolerance itself passes, and the drill says %v", err)
	}
}
