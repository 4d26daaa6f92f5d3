// Package pg is the door to PostgreSQL: every unit of work goes through InTx or
// Read, which fix the plant, the person and the one time at which it happened.
// Only this package names the driver.
package pg

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"sync/atomic"
	"time"

	"github.com/jmoiron/sqlx"
	"github.com/lib/pq"
	"github.com/lib/pq/pqerror"

	"lastgood/workflow/actor"
	"lastgood/workflow/fault"
)

// PlantID is the database's number of a plant.
type PlantID int32

// DB is a pool of connections of the application's role.
type DB struct {
	pool   *sqlx.DB
	now    func() time.Time
	closed atomic.Pointer[fault.Error] // why nothing may be written; nil: it may
}

// Open opens a pool for the application's connection string. It refuses an
// owner of the tables, a superuser or a role that row security does not bind:
// the database could not refuse them anything. now is the clock.
func Open(ctx context.Context, dsn string, now func() time.Time) (*DB, error) {
	conn, err := pq.NewConnector(dsn)
	if err != nil {
		return nil, fmt.Errorf("database connection string: %w", err)
	}
	conn.Dialer(wideDialer{})
	pool := sqlx.NewDb(sql.OpenDB(conn), "postgres")
	pool.SetConnMaxLifetime(5 * time.Minute) // a demoted server would keep its connections
	pool.SetMaxOpenConns(20)
	pool.SetMaxIdleConns(10)
	db := &DB{pool: pool, now: now}
	if err := db.refuseStrongRole(ctx); err != nil {
		pool.Close()
		return nil, err
	}
	return db, nil
}

// OnlyRead refuses every write from now on, for a reason that whoever tries is
// told.
func (db *DB) OnlyRead(why *fault.Error) { db.closed.Store(why) }

// Close closes the pool.
func (db *DB) Close() error { return db.pool.Close() }

const ownsOrRules = `
select rolsuper or rolbypassrls or exists (select from pg_class c where c.relname = 'reading' and pg_has_role(r.oid, c.relowner, 'member'))
from pg_roles r where rolname = current_user`

func (db *DB) refuseStrongRole(ctx context.Context) error {
	var strong bool
	if err := db.pool.GetContext(ctx, &strong, ownsOrRules); err != nil {
		return fmt.Errorf("database: %w", err)
	}
	if strong {
		return errors.New("the database role owns the tables or is a superuser: give the URL of a role that is only a member of lastgood_application")
	}
	return nil
}

// Scope is for whom and by whom a unit of work is done.
type Scope struct {
	Plant   PlantID
	By      actor.Actor
	Cause   string // what made it happen, if not the actor alone
	IdemKey string // the caller's idempotency key; empty: none
}

// Tx is one unit of work: its connection, the plant whose rows it sees, the one
// time at which it happened and the person answerable for it.
type Tx struct {
	*sqlx.Tx
	Scope
	Now  time.Time // UTC, whole microseconds, the same for every row written
	conn *sqlx.Conn
}

// Raw lends the driver's own connection, inside the transaction, for COPY and
// for bulk reads.
func (tx *Tx) Raw(f func(driverConn any) error) error { return tx.conn.Raw(f) }

// InTx runs f in a transaction and commits if f returns nil. f is run again,
// at most five times in all, when PostgreSQL asks for it, so f must do nothing
// that a rollback does not undo.
func (db *DB) InTx(ctx context.Context, s Scope, f func(*Tx) error) error {
	if why := db.closed.Load(); why != nil {
		return why
	}
	for try := 1; ; try++ {
		err := db.inTx(ctx, s, &sql.TxOptions{}, f)
		if try < 5 && pq.As(err, pqerror.TRSerializationFailure, pqerror.TRDeadlockDetected) != nil {
			time.Sleep(time.Duration(1<<try) * 5 * time.Millisecond)
			continue
		}
		return translate(ctx, err)
	}
}

// Read runs f in a read-only transaction that sees one moment of the database.
func (db *DB) Read(ctx context.Context, s Scope, f func(*Tx) error) error {
	return translate(ctx, db.inTx(ctx, s, &sql.TxOptions{Isolation: sql.LevelRepeatableRead, ReadOnly: true}, f))
}

func (db *DB) inTx(ctx context.Context, s Scope, o *sql.TxOptions, f func(*Tx) error) error {
	conn, err := db.pool.Connx(ctx)
	if err != nil {
		return err
	}
	defer conn.Close()
	t, err := conn.BeginTxx(ctx, o)
	if err != nil {
		return err
	}
	defer t.Rollback() // nothing after Commit; runs on panic too
	const seePlant = `select set_config('lastgood.plant', $1, true)`
	if _, err := t.ExecContext(ctx, seePlant, fmt.Sprint(s.Plant)); err != nil {
		return err
	}
	tx := &Tx{Tx: t, Scope: s, Now: db.now().UTC().Truncate(time.Microsecond), conn: conn}
	if err := f(tx); err != nil {
		return err
	}
	return t.Commit()
}

// FindPlant returns the plant of a name. fault.NotFound: there is none.
func (db *DB) FindPlant(ctx context.Context, name string) (PlantID, error) {
	id, there, err := db.PlantNamed(ctx, name)
	if err == nil && !there {
		return 0, fault.New(fault.NotFound, "unknown-plant", "there is no plant %s", name)
	}
	return id, err
}

// PlantNamed returns the plant of a name, and whether there is one.
func (db *DB) PlantNamed(ctx context.Context, name string) (id PlantID, there bool, err error) {
	var found sql.NullInt32
	if err := db.pool.GetContext(ctx, &found, `select find_plant($1)`, name); err != nil {
		return 0, false, translate(ctx, err)
	}
	return PlantID(found.Int32), found.Valid, nil
}

// CreatePlant makes a plant. altitudeM [m] is nil where unknown.
func (db *DB) CreatePlant(ctx context.Context, name, timeZone string, altitudeM *float64) (PlantID, error) {
	if why := db.closed.Load(); why != nil {
		return 0, why
	}
	var id PlantID
	err := db.pool.GetContext(ctx, &id, `select create_plant($1, $2, $3)`, name, timeZone, altitudeM)
	return id, translate(ctx, err)
}

// Ping says whether the database can be reached.
func (db *DB) Ping(ctx context.Context) error { return translate(ctx, db.pool.PingContext(ctx)) }
