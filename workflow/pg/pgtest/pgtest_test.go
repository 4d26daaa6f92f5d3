//go:build linux

package pgtest_test

import (
	"database/sql"
	"os"
	"testing"

	"github.com/lib/pq"
	"github.com/lib/pq/pqerror"

	"lastgood/workflow/pg/pgtest"
)

func TestMain(m *testing.M) { os.Exit(pgtest.Main(m)) }

func open(t *testing.T, dsn string) *sql.DB {
	t.Helper()
	db, err := sql.Open("postgres", dsn)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { db.Close() })
	return db
}

func ask(t *testing.T, db *sql.DB, question string) (answer string) {
	t.Helper()
	if err := db.QueryRow(question).Scan(&answer); err != nil {
		t.Fatalf("%s: %v", question, err)
	}
	return answer
}

// TestOwnDatabase: tests at the same time see a migrated database each, and
// nothing of one another.
func TestOwnDatabase(t *testing.T) {
	t.Parallel()
	for range 4 {
		t.Run("", func(t *testing.T) {
			t.Parallel()
			dbs := pgtest.DB(t)
			owner, app := open(t, dbs.Owner), open(t, dbs.App)
			if _, err := owner.Exec("create table mine (n int)"); err != nil {
				t.Fatal(err) // a second one in the same database would say that it exists
			}
			if got := ask(t, app, "select to_regclass('plant')::text"); got != "plant" {
				t.Errorf("not migrated: %q", got)
			}
			if _, err := app.Exec("create table lasting (n int)"); pq.As(err, pqerror.InsufficientPrivilege) == nil {
				t.Errorf("the application makes a table: %v", err)
			}
			if got := ask(t, open(t, dbs.Admin), "select rolsuper::text from pg_roles where rolname = current_user"); got != "true" {
				t.Error("the administrator is none")
			}
		})
	}
}

// TestRights: those on the database itself are as the real one has them.
func TestRights(t *testing.T) {
	t.Parallel()
	const rights = "select concat_ws(' ', has_database_privilege('lastgood_app', d, 'connect'), has_database_privilege('lastgood_app', d, 'temporary'), " +
		"has_database_privilege('lastgood_app', d, 'create'), has_database_privilege('pg_monitor', d, 'connect')) from current_database() d"
	clone := ask(t, open(t, pgtest.DB(t).Admin), rights)
	if clone != "t t f f" {
		t.Errorf("connect, temporary, create, a stranger's connect: %s", clone)
	}
}

func TestDropped(t *testing.T) {
	t.Parallel()
	var name string
	t.Run("inner", func(t *testing.T) {
		name = ask(t, open(t, pgtest.DB(t).App), "select current_database()")
	})
	admin := open(t, pgtest.Server(t).AdminURL("postgres"))
	if got := ask(t, admin, "select count(*) from pg_database where datname = '"+name+"'"); got != "0" {
		t.Errorf("%s is left", name)
	}
}
