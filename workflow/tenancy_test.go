package workflow

import (
	"database/sql"
	"fmt"
	"slices"
	"testing"

	"lastgood/policy/disposition"
	"lastgood/policy/unit"
	"lastgood/workflow/fault"
	"lastgood/workflow/hold"
	"lastgood/workflow/instrument"
	"lastgood/workflow/key"
	"lastgood/workflow/lot"
	"lastgood/workflow/person"
	"lastgood/workflow/pg"
	"lastgood/workflow/pg/pgtest"
	"lastgood/workflow/reading"
)

// elsewhere are the tables that no command of the engine writes yet.
var elsewhere = []string{"reading_correction"}

// fill lets something stand in every table that the engine writes.
func fill(s *site) {
	s.Helper()
	yes := true
	day := march(3, 12, 0)
	s.must(s.certify("R-1"))
	s.added(s.AddProducts(s.ctx, s.sc, []lot.Product{{Code: "roast", Name: "cold roast", ReadyToEat: &yes}}))
	s.makes("A")
	s.added(s.AddMountings(s.ctx, s.sc, []instrument.Mounting{{Instrument: "T-1", Location: "cooler", From: march(2, 12, 0)}}))
	s.added(s.AddStays(s.ctx, s.sc, []lot.Stay{{Lot: "A", Location: "cooler", From: march(3, 0, 0), To: &day}}))
	s.turns("A", "B", day)
	s.ships("A", "10", day)
	room := cooked("T-1", march(3, 1, 0), 3, "")
	room.Limit, room.Location = "chill", "cooler"
	s.reads(cooked("T-1", march(3, 0, 0), 72, "A"), room)
	odd := cooked("T-1", march(3, 2, 0), 71.2, "A")
	odd.Unit = unit.FahrenheitScale
	s.reads(odd)
	s.resolves(s.quarantined(1)[0].ID, reading.Rejected)
	ahead := int64(1)
	s.added(s.AddClockOffsets(s.ctx, s.sc, []instrument.ClockOffset{{Instrument: "T-2", From: march(1, 0, 0), Ahead: &ahead}}))
	s.happens("T-1", march(4, 0, 0), instrument.Dropped)
	s.trace(s.fails("T-1", march(5, 6, 0)))
	s.record(against(checkOf("T-2", march(5, 0, 0), 0), "R-1"))
	s.corrected("C-2", march(2, 0, 0), march(28, 0, 0), -3) // a cascade, which pends
	_, err := s.MayShip(s.ctx, s.sc, GateQuestion{Items: []GateItem{{Lot: "A"}}})
	s.must(err)
	_, err = s.AddKey(s.ctx, s.sc, "historian", []key.Scope{key.Scopes[0]}, march(28, 12, 0).AddDate(1, 0, 0))
	s.must(err)
	s.drafts(stricter)
	s.employs()
	fillByJobs(s)
	fillCorrections(s)
}

// fillByJobs lets stand what the jobs leave behind. The clock stands still, so
// what waits for it is written as it would be.
func fillByJobs(s *site) {
	s.Helper()
	w, err := s.AddWebhook(s.ctx, s.sc, "https://plant.example/events", nil)
	s.must(err)
	s.must(s.db.InTx(s.ctx, s.sc, func(tx *pg.Tx) error {
		known, err := instrument.Known(s.ctx, tx)
		if err != nil {
			return err
		}
		found := instrument.FoundOverdue{Instrument: known["R-1"].ID, DueAt: march(1, 0, 0), InTimeFrom: march(1, 0, 0)}
		if err := instrument.AddOverdue(s.ctx, tx, []instrument.FoundOverdue{found}); err != nil {
			return err
		}
		var id hold.ID
		if err := tx.GetContext(s.ctx, &id, `select min(hold_id) from hold where plant_id = $1 and lifted_at is null`, tx.Plant); err != nil {
			return err
		}
		h, err := hold.Get(s.ctx, tx, id)
		if err != nil {
			return err
		}
		return raise(s.ctx, tx, h, 1)
	}))
	s.must(s.relay(s.ctx, s.sc.Plant))
	s.must(s.db.InTx(s.ctx, s.sc, func(tx *pg.Tx) error {
		var event int64
		if err := tx.GetContext(s.ctx, &event, `select min(event_id) from outbox_event where plant_id = $1`, tx.Plant); err != nil {
			return err
		}
		if err := noteDelivery(s.ctx, tx, deliverJob{s.sc.Plant, w.ID, event}, 200, nil); err != nil {
			return err
		}
		return toldOf(s.ctx, tx, Deviation{ID: 1}) // still without a position
	}))
}

// employs adds two people, of whom one stands in for the other and is signed in.
func (s *site) employs() {
	s.Helper()
	oneTime, err := s.AddPerson(s.ctx, s.sc, person.Identity{Code: "lead-1", Name: "A. B. Sample", Title: "QA lead"}, person.Grant{Role: disposition.QALead})
	s.must(err)
	_, err = s.AddPerson(s.ctx, s.sc, person.Identity{Code: "lead-2", Name: "C. D. Sample", Title: "Verifier"})
	s.must(err)
	s.must(s.Delegate(s.ctx, s.sc, person.Delegation{Person: "lead-1", Deputy: "lead-2", Role: disposition.QALead, Until: march(29, 0, 0), Reason: "leave"}))
	var plant []string
	s.query(&plant, `select name from plant`)
	s.must(s.SetPassword(s.ctx, plant[0], "lead-1", oneTime, "an invented phrase"))
	_, _, err = s.SignIn(s.ctx, plant[0], "lead-1", "an invented phrase")
	s.must(err)
}

func (s *site) certify(code string) error {
	_, err := s.AddCertificates(s.ctx, s.sc, []instrument.Certificate{{Instrument: code, Number: "C-1", IssuedAt: march(1, 0, 0),
		ValidUntil: march(28, 0, 0), Unit: unit.CelsiusScale, Points: []instrument.CertificatePoint{{At: 0}, {At: 75 * unit.PerDegree}}}})
	return err
}

func superuser(t *testing.T, dsn pgtest.DBs) *sql.DB {
	t.Helper()
	db, err := sql.Open("postgres", dsn.Admin)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { db.Close() })
	return db
}

// names reads a list of names as the superuser.
func names(t *testing.T, db *sql.DB, q string) []string {
	t.Helper()
	rows, err := db.Query(q)
	if err != nil {
		t.Fatal(err)
	}
	defer rows.Close()
	var list []string
	for rows.Next() {
		var n string
		if err := rows.Scan(&n); err != nil {
			t.Fatal(err)
		}
		list = append(list, n)
	}
	if err := rows.Err(); err != nil {
		t.Fatal(err)
	}
	return list
}

// Rows of another plant are invisible, in every table there is, and without a
// plant every row is (design §14).
func TestNoPlantSeesAnother(t *testing.T) {
	t.Parallel()
	svc, dsn := openService(t)
	s := openPlant(t, svc, "plant one")
	fill(s)
	other := openPlant(t, svc, "plant two").sc
	other.IdemKey = "k"
	tables := names(t, superuser(t, dsn), `select c.table_name from information_schema.columns c
		join information_schema.tables t using (table_schema, table_name)
		where c.column_name = 'plant_id' and table_schema = 'public' and table_type = 'BASE TABLE'
		and table_name !~ '^reading_\d{6}$' order by 1`)
	if len(tables) < 30 {
		t.Fatalf("only %d tables: %v", len(tables), tables)
	}
	count := func(sc pg.Scope, table string) (n int) {
		s.must(svc.db.Read(s.ctx, sc, func(tx *pg.Tx) error {
			return tx.GetContext(s.ctx, &n, fmt.Sprintf("select count(*) from %s where plant_id = %d", table, s.sc.Plant))
		}))
		return n
	}
	own := s.sc
	own.IdemKey = "k"
	_, err := svc.AddLots(s.ctx, own, []lot.Lot{{Code: "keyed"}})
	s.must(err)
	fillTheRest(t, superuser(t, dsn), s.sc.Plant, tables)
	for _, table := range tables {
		if n := count(own, table); (n > 0) == slices.Contains(elsewhere, table) {
			t.Errorf("%s: the plant sees %d rows of its own", table, n)
		}
		if n := count(other, table); n != 0 {
			t.Errorf("%s: another plant sees %d rows", table, n)
		}
		if n := count(pg.Scope{}, table); n != 0 {
			t.Errorf("%s: without a plant %d rows are seen", table, n)
		}
	}
}

// A plant's commands do not find what another has.
func TestAnotherPlantsDeviationIsNotFound(t *testing.T) {
	t.Parallel()
	svc, _ := openService(t)
	s, other := siteOn(t, svc), openPlant(t, svc, "another")
	s.makes("A")
	s.reads(cooked("T-1", march(3, 0, 0), 72, "A"))
	d := s.fails("T-1", march(5, 6, 0))
	h := s.holdOf(d, "A")
	s.record(against(checkOf("T-2", march(4, 0, 0), 0), "R-1"))
	s.fails("R-1", march(6, 6, 0))
	c := s.pending()[0]
	draft := s.drafts(stricter)
	for name, err := range map[string]error{
		"draft":       second(svc.PolicyDraft(s.ctx, other.sc, draft.ID)),
		"trace":       second(svc.Trace(s.ctx, other.sc, d.ID)),
		"evaluate":    second(svc.Evaluate(s.ctx, other.sc, d.ID, d.Version)),
		"acknowledge": second(svc.AcknowledgeHold(s.ctx, other.sc, h.ID, h.Version, *kg("100"))),
		"cascade":     second(svc.Cascade(s.ctx, other.sc, c.ID)),
		"confirm":     second(svc.ConfirmCascade(s.ctx, other.sc, c.ID, c.Digest)),
		"report":      second(svc.Report(s.ctx, other.sc, d.ID)),
		"export":      second(svc.Export(s.ctx, other.sc, d.ID, true)),
		"tag":         second(svc.HoldTag(s.ctx, other.sc, h.ID)),
		"tags":        second(svc.DeviationTags(s.ctx, other.sc, d.ID)),
		"hold":        second(svc.PlaceHold(s.ctx, other.sc, "A", "", "metal in the sieve")),
	} {
		if fault.KindOf(err) != fault.NotFound {
			t.Errorf("%s: %v", name, err)
		}
	}
	other.makes("A")
	if n := other.count(`select count(*) from hold`); n != 0 {
		t.Errorf("a lot of the same code is held by another plant's deviation")
	}
}

func second[T any](_ T, err error) error { return err }

// What is a record is changed by nobody: not by the application, not by the
// owner of the tables, not by a superuser who has not said so.
func TestRecordsAreNeverChanged(t *testing.T) {
	t.Parallel()
	svc, dsn := openService(t)
	fill(openPlant(t, svc, "plant"))
	admin := superuser(t, dsn)
	records := names(t, admin, `select tgrelid::regclass::text from pg_trigger where tgname = 'append_only' order by 1`)
	for _, want := range []string{"reading", "reading_202503", "trail_entry", "trail_leaf", "trace_run", "assessment", "accuracy_check",
		"check_point", "certificate", "instrument_event", "policy_version", "policy_draft", "ship_question", "transformation", "shipment", "evidence", "idempotency"} {
		if !slices.Contains(records, want) {
			t.Errorf("%s is not a record", want)
		}
	}
	for who, url := range map[string]string{"application": dsn.App, "owner": dsn.Owner, "superuser": dsn.Admin} {
		db, err := sql.Open("postgres", url)
		if err != nil {
			t.Fatal(err)
		}
		t.Cleanup(func() { db.Close() })
		for _, table := range records {
			for _, q := range []string{"update %s set plant_id = plant_id", "delete from %s", "truncate %s cascade"} {
				if _, err := db.Exec(fmt.Sprintf(q, table)); err == nil {
					t.Errorf("%s: "+q+" was done", who, table)
				}
			}
		}
	}
	app, err := sql.Open("postgres", dsn.App)
	if err != nil {
		t.Fatal(err)
	}
	defer app.Close()
	if _, err := app.Exec(`select count(*) from reading_202503`); err == nil {
		t.Error("the application looks into a month of readings past the rule that hides other plants")
	}
}

// Every float column refuses what is no number.
func TestFloatsAreFinite(t *testing.T) {
	t.Parallel()
	svc, dsn := openService(t)
	fill(openPlant(t, svc, "plant"))
	admin := superuser(t, dsn)
	columns := names(t, admin, `select table_name || ' ' || column_name from information_schema.columns
		join information_schema.tables using (table_schema, table_name)
		where table_schema = 'public' and data_type in ('double precision', 'real') and table_type = 'BASE TABLE' order by 1`)
	if len(columns) < 8 {
		t.Fatalf("only %v", columns)
	}
	for _, c := range columns {
		var table, column string
		if _, err := fmt.Sscan(c, &table, &column); err != nil {
			t.Fatal(err)
		}
		for _, v := range []string{"NaN", "Infinity", "-Infinity"} {
			if !refuses(t, admin, table, column, v) {
				t.Errorf("%s takes %s", c, v)
			}
		}
	}
}

// refuses says whether a column's constraints turn a value away. The checks are
// asked themselves, so that no row is needed.
func refuses(t *testing.T, db *sql.DB, table, column, value string) bool {
	t.Helper()
	rules := names(t, db, fmt.Sprintf(`select pg_get_expr(conbin, conrelid) from pg_constraint join pg_attribute
		on attrelid = conrelid and attnum = any(conkey) where conrelid = '%s'::regclass and contype = 'c' and attname = '%s'`, table, column))
	for _, rule := range rules {
		var ok sql.NullBool
		q := fmt.Sprintf(`select %s from (select '%s'::float8 as %s) x`, rule, value, column)
		if err := db.QueryRow(q).Scan(&ok); err != nil {
			t.Fatalf("%s.%s: %v", table, column, err)
		}
		if ok.Valid && !ok.Bool {
			return true
		}
	}
	return false
}
