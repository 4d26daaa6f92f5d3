package workflow

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"strings"
	"sync"
	"testing"
	"time"

	"lastgood/policy/disposition"
	"lastgood/workflow/actor"
	"lastgood/workflow/fault"
	"lastgood/workflow/person"
	"lastgood/workflow/pg"
	"lastgood/workflow/pg/pgtest"
)

// lodge is an invented plant whose people sign in, with a clock that the test
// sets.
type lodge struct {
	*testing.T
	*Service
	sc  pg.Scope
	dsn pgtest.DBs
	mu  sync.Mutex
	now time.Time
}

const (
	lodgePlant = "Tallow Mere Kitchens"
	goodPhrase = "an invented phrase"
)

func newLodge(t *testing.T) *lodge {
	t.Helper()
	l := &lodge{T: t, dsn: pgtest.DB(t), now: march(4, 12, 0)}
	db, err := pg.Open(t.Context(), l.dsn.App, func() time.Time {
		l.mu.Lock()
		defer l.mu.Unlock()
		return l.now
	})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { db.Close() })
	if l.Service, err = New(db); err != nil {
		t.Fatal(err)
	}
	id, err := l.Plant(t.Context(), lodgePlant, "UTC", nil)
	if err != nil {
		t.Fatal(err)
	}
	l.sc = pg.Scope{Plant: id, By: actor.Actor{ID: "command line", Kind: actor.Person}}
	return l
}

// later moves the clock.
func (l *lodge) later(d time.Duration) {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.now = l.now.Add(d)
}

func (l *lodge) must(err error) {
	l.Helper()
	if err != nil {
		l.Fatal(err)
	}
}

func (l *lodge) refused(what string, err error, rule string) {
	l.Helper()
	got := ""
	if err != nil {
		got = ruleIn(err)
	}
	if got != rule {
		l.Errorf("%s: %v, want %q", what, err, rule)
	}
}

// joins adds somebody who has not set a password and returns their code.
func (l *lodge) joins(code string, roles ...disposition.Role) string {
	l.Helper()
	var grants []person.Grant
	for _, r := range roles {
		grants = append(grants, person.Grant{Role: r})
	}
	oneTime, err := l.AddPerson(l.Context(), l.sc, person.Identity{Code: code, Name: "Person " + code, Title: "Title"}, grants...)
	l.must(err)
	return oneTime
}

// joined adds somebody who has set a password.
func (l *lodge) joined(code string, roles ...disposition.Role) {
	l.Helper()
	l.must(l.SetPassword(l.Context(), lodgePlant, code, l.joins(code, roles...), goodPhrase))
}

// enters signs somebody in and returns the token and as whom they then act.
func (l *lodge) enters(code string) (string, pg.Scope) {
	l.Helper()
	token, _, err := l.SignIn(l.Context(), lodgePlant, code, goodPhrase)
	l.must(err)
	sc, _, err := l.AuthenticatePerson(l.Context(), token)
	l.must(err)
	return token, sc
}

func (l *lodge) signIn(plant, code, password string) error {
	_, _, err := l.SignIn(l.Context(), plant, code, password)
	return err
}

func (l *lodge) shows(token string) error {
	_, _, err := l.AuthenticatePerson(l.Context(), token)
	return err
}

// trail returns the actions of the administration's stream, with who and of whom.
func (l *lodge) trail() string {
	l.Helper()
	list, err := l.TrailAfter(l.Context(), l.sc, administration, 0, 1000)
	l.must(err)
	var b strings.Builder
	for _, e := range list {
		b.Write(e.Body)
		b.WriteByte('\n')
	}
	return b.String()
}

func TestOneTimeCode(t *testing.T) {
	t.Parallel()
	l := newLodge(t)
	oneTime := l.joins("qa-1")
	l.joins("qa-2")
	set := func(code, oneTime, password string) error {
		return l.SetPassword(t.Context(), lodgePlant, code, oneTime, password)
	}
	l.refused("before a password is set", l.signIn(lodgePlant, "qa-1", goodPhrase), "sign-in-refused")
	l.refused("another's code", set("qa-2", oneTime, goodPhrase), "sign-in-refused")
	l.refused("no code", set("qa-1", "", goodPhrase), "sign-in-refused")
	l.refused("nobody's", set("qa-9", oneTime, goodPhrase), "sign-in-refused")
	l.refused("a short password", set("qa-1", oneTime, "short"), "short-password")
	l.refused("their name", set("qa-1", oneTime, "person QA-1 "), "known-password")
	l.refused("the plant's name", set("qa-1", oneTime, lodgePlant), "known-password")
	l.must(set("qa-1", strings.ToLower(strings.ReplaceAll(oneTime, "-", " ")), goodPhrase))
	l.must(l.signIn(lodgePlant, "qa-1", goodPhrase))
	l.refused("the code again", set("qa-1", oneTime, "another phrase"), "sign-in-refused")
	l.must(l.signIn(lodgePlant, "qa-1", goodPhrase))

	late := l.joins("qa-3")
	l.later(7*24*time.Hour - time.Second)
	other := l.joins("qa-4")
	l.later(time.Second)
	l.refused("after 7 days", set("qa-3", late, goodPhrase), "code-ended")
	l.refused("a wrong code after 7 days", set("qa-3", other, goodPhrase), "sign-in-refused")
	fresh, err := l.ResetPerson(t.Context(), l.sc, "qa-3")
	l.must(err)
	l.refused("the code before", set("qa-3", late, goodPhrase), "sign-in-refused")
	l.must(set("qa-3", fresh.OneTime, goodPhrase))
	if got := l.trail(); strings.Count(got, "password.set") != 2 || !strings.Contains(got, `"actor":"qa-3"`) {
		t.Errorf("%s", got)
	}
}

// Two who use a code at the same time: one of them has used it.
func TestOneTimeCodeIsUsedOnce(t *testing.T) {
	t.Parallel()
	l := newLodge(t)
	oneTime := l.joins("qa-1")
	errs := make(chan error)
	for i := range 4 {
		go func() {
			errs <- l.SetPassword(l.Context(), lodgePlant, "qa-1", oneTime, fmt.Sprint("an invented phrase ", i))
		}()
	}
	done := 0
	for range 4 {
		if err := <-errs; err == nil {
			done++
		} else {
			l.refused("the others", err, "sign-in-refused")
		}
	}
	if done != 1 {
		t.Errorf("the code was used %d times", done)
	}
}

func TestWrongSignIns(t *testing.T) {
	t.Parallel()
	l := newLodge(t)
	l.joined("qa-1")
	_, err := l.Plant(t.Context(), "Oxlip Quay Dairy", "UTC", nil)
	l.must(err)
	for name, c := range map[string][3]string{
		"no such plant": {"Nowhere", "qa-1", goodPhrase}, "another plant": {"Oxlip Quay Dairy", "qa-1", goodPhrase},
		"nobody": {lodgePlant, "qa-9", goodPhrase}, "another case": {lodgePlant, "QA-1", goodPhrase}, "a wrong password": {lodgePlant, "qa-1", goodPhrase + "s"},
	} {
		l.refused(name, l.signIn(c[0], c[1], c[2]), "sign-in-refused")
	}
	l.must(l.signIn(lodgePlant, "qa-1", goodPhrase))
	l.must(l.Depart(t.Context(), l.sc, "qa-1", time.Time{}))
	l.refused("who has left", l.signIn(lodgePlant, "qa-1", goodPhrase), "sign-in-refused")
}

// Five wrong entries in 15 minutes lock signing in for 15 minutes, and the trail
// says so (design notes on signing, E-025).
func TestLockOut(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		name    string
		entries string        // one after the other
		every   time.Duration // between them
		wait    time.Duration // then
		rule    string        // of a right one at the end
	}{
		{"four", "wwww", time.Second, 0, ""},
		{"five", "wwwww", time.Second, 0, "sign-in-locked"},
		{"six", "wwwwww", time.Second, 0, "sign-in-locked"},
		{"five with a right one between", "wwrwww", time.Second, 0, ""},
		{"five in more than 15 minutes", "wwwww", 4 * time.Minute, 0, ""},
		{"five in 12 minutes", "wwwww", 3 * time.Minute, 0, "sign-in-locked"},
		{"almost 15 minutes later", "wwwww", time.Second, 15*time.Minute - 2*time.Second, "sign-in-locked"},
		{"15 minutes later", "wwwww", time.Second, 15 * time.Minute, ""},
		{"wrong ones while locked do not lock for longer", "wwwwwwwwww", time.Second, 15 * time.Minute, ""},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			l := newLodge(t)
			l.joined("qa-1")
			l.joined("qa-2")
			for _, e := range c.entries {
				password := goodPhrase
				if e == 'w' {
					password = "not that phrase"
				}
				_ = l.signIn(lodgePlant, "qa-1", password) // the last one tells
				l.later(c.every)
			}
			l.later(c.wait)
			l.refused(c.name, l.signIn(lodgePlant, "qa-1", goodPhrase), c.rule)
			l.refused("somebody else", l.signIn(lodgePlant, "qa-2", goodPhrase), "")
			locked := strings.Contains(c.name, "later") || c.rule != "" || strings.Contains(c.name, "while locked")
			if got := strings.Count(l.trail(), "sign-in.locked"); got != map[bool]int{true: 1}[locked] {
				t.Errorf("the trail tells of %d locks", got)
			}
		})
	}
}

// However many try at once, five wrong ones are all there are, and a right one
// that comes in with the fifth still waits.
func TestLockOutOfManyAtOnce(t *testing.T) {
	t.Parallel()
	l := newLodge(t)
	l.joined("qa-1")
	errs := make(chan error)
	for range 12 {
		go func() { errs <- l.signIn(lodgePlant, "qa-1", "not that phrase") }()
	}
	refused := map[string]int{}
	for range 12 {
		refused[ruleIn(<-errs)]++
	}
	if refused["sign-in-refused"] != 5 || refused["sign-in-locked"] != 7 {
		t.Errorf("%v", refused)
	}
}

// A one-time code is guessed no more often than a password, and a reset opens
// what was locked.
func TestLockOutByCodeAndReset(t *testing.T) {
	t.Parallel()
	l := newLodge(t)
	oneTime := l.joins("qa-1")
	set := func(oneTime string) error { return l.SetPassword(t.Context(), lodgePlant, "qa-1", oneTime, goodPhrase) }
	for range 5 {
		l.refused("a wrong code", set("AAAA-AAAA-AAAA-AAAA"), "sign-in-refused")
	}
	l.refused("the right code", set(oneTime), "sign-in-locked")
	fresh, err := l.ResetPerson(t.Context(), l.sc, "qa-1")
	l.must(err)
	l.must(set(fresh.OneTime))
}

func TestSessionsEnd(t *testing.T) {
	t.Parallel()
	l := newLodge(t)
	l.joined("qa-1", disposition.QALead)
	idle, _ := l.enters("qa-1")
	l.later(14 * time.Minute)
	l.must(l.shows(idle))
	l.later(14 * time.Minute)
	l.must(l.shows(idle)) // use keeps it
	l.later(15 * time.Minute)
	l.refused("unused for 15 minutes", l.shows(idle), "session-ended")

	long, _ := l.enters("qa-1")
	for range 72 {
		l.later(10 * time.Minute)
		_ = l.shows(long)
	}
	l.refused("after 12 hours", l.shows(long), "session-ended")

	out, sc := l.enters("qa-1")
	stays, _ := l.enters("qa-1")
	l.must(l.SignOut(t.Context(), sc))
	l.refused("signed out", l.shows(out), "session-ended")
	l.refused("signed out twice", l.SignOut(t.Context(), sc), "session-ended")
	l.must(l.shows(stays))
	_, err := l.ResetPerson(t.Context(), l.sc, "qa-1")
	l.must(err)
	l.refused("after a reset", l.shows(stays), "session-ended")
	l.refused("the password before a reset", l.signIn(lodgePlant, "qa-1", goodPhrase), "sign-in-refused")

	l.joined("qa-2")
	gone, _ := l.enters("qa-2")
	l.must(l.Depart(t.Context(), l.sc, "qa-2", l.now.Add(time.Minute)))
	l.must(l.shows(gone))
	l.later(time.Minute)
	l.refused("after the last day", l.shows(gone), "session-ended")
	l.refused("nobody's", l.shows("ls_"+strings.Repeat("A", 43)), "unknown-session")
	l.refused("no token", l.shows("ls_"), "unknown-session")
}

// The use of a session is written at most once a minute.
func TestSessionIsNotedNowAndThen(t *testing.T) {
	t.Parallel()
	l := newLodge(t)
	l.joined("qa-1")
	token, _ := l.enters("qa-1")
	seen := func() (at time.Time) {
		l.must(l.db.Read(t.Context(), l.sc, func(tx *pg.Tx) error { return tx.GetContext(t.Context(), &at, `select seen_at from person_session`) }))
		return at
	}
	began := seen()
	l.later(59 * time.Second)
	l.must(l.shows(token))
	if !seen().Equal(began) {
		t.Error("every use is written")
	}
	l.later(time.Second)
	l.must(l.shows(token))
	if got := seen(); !got.Equal(began.Add(time.Minute)) {
		t.Errorf("seen at %s", got)
	}
}

func TestConfirmation(t *testing.T) {
	t.Parallel()
	l := newLodge(t)
	l.joined("qa-1", disposition.QALead)
	token, sc := l.enters("qa-1")
	if !sc.By.AuthenticatedAt.Equal(march(4, 12, 0)) || sc.By.ID != "qa-1" || sc.By.Kind != actor.Person || sc.By.Session == "" || strings.Contains(token, sc.By.Session+"_") {
		t.Errorf("%+v", sc.By)
	}
	l.later(10 * time.Minute)
	confirm := func(password string) error {
		_, err := l.ConfirmSession(t.Context(), sc, password)
		return err
	}
	l.refused("a wrong one", confirm("not that phrase"), "sign-in-refused")
	l.must(confirm(goodPhrase))
	again, s, err := l.AuthenticatePerson(t.Context(), token)
	l.must(err)
	if !again.By.AuthenticatedAt.Equal(march(4, 12, 10)) || s.Code != "qa-1" || len(s.Roles) != 1 || s.Roles[0].Role != disposition.QALead {
		t.Errorf("%+v %+v", again.By, s)
	}
	other, _ := l.enters("qa-1")
	for range 5 {
		l.refused("a wrong one", confirm("not that phrase"), "sign-in-refused")
	}
	l.refused("a right one then", confirm(goodPhrase), "sign-in-locked")
	l.refused("at whose station it was", l.shows(token), "session-ended")
	l.must(l.shows(other))
	l.refused("without a session", second(l.ConfirmSession(t.Context(), l.sc, goodPhrase)), "sign-in-refused")
}

// Another plant has the same codes, and none of the same people.
func TestPeopleOfAnotherPlant(t *testing.T) {
	t.Parallel()
	l := newLodge(t)
	l.joined("qa-1", disposition.QALead)
	token, _ := l.enters("qa-1")
	id, err := l.Plant(t.Context(), "Oxlip Quay Dairy", "UTC", nil)
	l.must(err)
	other := pg.Scope{Plant: id, By: l.sc.By}
	list, err := l.People(t.Context(), other, "", 0)
	if err != nil || len(list) != 0 {
		t.Errorf("%v %v", list, err)
	}
	for name, err := range map[string]error{
		"reset":  second(l.ResetPerson(t.Context(), other, "qa-1")),
		"depart": l.Depart(t.Context(), other, "qa-1", time.Time{}),
		"grant":  l.GrantRole(t.Context(), other, "qa-1", person.Grant{Role: disposition.Verifier}),
		"end":    l.EndRole(t.Context(), other, "qa-1", disposition.QALead),
	} {
		l.refused(name, err, "unknown-person")
	}
	_, err = l.AddPerson(t.Context(), other, person.Identity{Code: "qa-1", Name: "Somebody Else", Title: "Title"})
	l.must(err)
	sc, _, err := l.AuthenticatePerson(t.Context(), token)
	if err != nil || sc.Plant != l.sc.Plant {
		t.Errorf("%+v %v", sc, err)
	}
}

// Whoever is no administrator changes nobody, whatever their door let through.
func TestWhoAdministers(t *testing.T) {
	t.Parallel()
	l := newLodge(t)
	l.joined("qa-1", disposition.QALead)
	l.joined("admin-1", disposition.Administrator)
	_, qa := l.enters("qa-1")
	_, admin := l.enters("admin-1")
	machine := pg.Scope{Plant: l.sc.Plant, By: actor.Actor{ID: "key historian", Kind: actor.Key}}
	for name, c := range map[string]struct {
		sc   pg.Scope
		rule string
	}{"a QA lead": {qa, "role-not-held"}, "a key": {machine, "human-signature-required"}} {
		_, err := l.AddPerson(t.Context(), c.sc, person.Identity{Code: "x", Name: "X", Title: "X"})
		l.refused(name, err, c.rule)
		l.refused(name, second(l.ResetPerson(t.Context(), c.sc, "admin-1")), c.rule)
		l.refused(name, l.GrantRole(t.Context(), c.sc, "qa-1", person.Grant{Role: disposition.PlantManager}), c.rule)
		l.refused(name, l.Depart(t.Context(), c.sc, "admin-1", time.Time{}), c.rule)
	}
	admin.IdemKey = "once"
	for range 2 { // the second is answered as the first
		l.must(l.GrantRole(t.Context(), admin, "qa-1", person.Grant{Role: disposition.Verifier}))
	}
	var who []string
	l.must(l.db.Read(t.Context(), l.sc, func(tx *pg.Tx) (err error) {
		who, err = person.Administrators(t.Context(), tx)
		return err
	}))
	if fmt.Sprint(who) != "[admin-1 command line]" {
		t.Errorf("%v", who)
	}
	if got := l.trail(); strings.Count(got, "role.granted") != 1 || !strings.Contains(got, `"actor":"admin-1"`) {
		t.Errorf("%s", got)
	}
}

// No password, one-time code or token stands in any row of any table.
func TestSecretsOfPeopleAreNotKept(t *testing.T) {
	t.Parallel()
	l := newLodge(t)
	oneTime := l.joins("qa-1", disposition.QALead)
	l.must(l.SetPassword(t.Context(), lodgePlant, "qa-1", oneTime, goodPhrase))
	token, sc := l.enters("qa-1")
	_, err := l.ConfirmSession(t.Context(), sc, goodPhrase)
	l.must(err)
	_ = l.signIn(lodgePlant, "qa-1", "a secret mistyped")
	l.sc.IdemKey = "k"
	l.must(l.Depart(t.Context(), l.sc, "qa-1", l.now.Add(time.Hour)))
	db, err := sql.Open("postgres", l.dsn.Admin)
	l.must(err)
	defer db.Close()
	tables := names(t, db, `select table_name from information_schema.tables where table_schema = 'public' and table_type = 'BASE TABLE'`)
	for _, secret := range []string{goodPhrase, "a secret mistyped", oneTime, strings.ReplaceAll(oneTime, "-", ""), strings.TrimPrefix(token, "ls_")} {
		for _, table := range tables {
			var hits int
			q := `select count(*) from ` + table + ` t where t::text like $1 or encode(convert_to(t::text, 'UTF8'), 'escape') like $1 or t::text like $2`
			l.must(db.QueryRowContext(context.Background(), q, "%"+secret+"%", fmt.Sprintf("%%%x%%", secret)).Scan(&hits))
			if hits != 0 {
				t.Errorf("%s holds a secret", table)
			}
		}
	}
}

// ruleIn is the rule of a fault, or the text of what is none.
func ruleIn(err error) string {
	var f *fault.Error
	if !errors.As(err, &f) {
		return fmt.Sprint(err)
	}
	return f.Rule
}
