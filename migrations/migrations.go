// Package migrations is the schema: embedded SQL, forward only, applied under
// one lock so that several processes may start at once. It imports nothing of
// ours.
package migrations

import (
	"context"
	"database/sql"
	"embed"
	"errors"
	"fmt"
	"io/fs"
	"log/slog"

	_ "github.com/lib/pq" // the driver that the given connection string is for
	"github.com/pressly/goose/v3"
	"github.com/pressly/goose/v3/lock"
	"github.com/riverqueue/river/riverdriver/riverdatabasesql"
	"github.com/riverqueue/river/rivermigrate"
)

//go:embed sql/*.sql
var files embed.FS

// Up brings the database of the owner's connection string to the newest
// version and returns how many migrations of ours it applied. Processes that
// start together wait for each other, up to a minute.
func Up(ctx context.Context, ownerDSN string) (int, error) {
	db, err := sql.Open("postgres", ownerDSN)
	if err != nil {
		return 0, fmt.Errorf("migrations: %w", err)
	}
	defer db.Close()
	n, err := underLock(ctx, db)
	if err != nil {
		return n, fmt.Errorf("migrations: %w", err)
	}
	return n, nil
}

// underLock applies the schema and that of the job queue under one session lock:
// the queue's own migrations know no lock, and two of them at once make one fail.
func underLock(ctx context.Context, db *sql.DB) (n int, err error) {
	locker, err := lock.NewPostgresSessionLocker(lock.WithLockTimeout(1, 60))
	if err != nil {
		return 0, err
	}
	conn, err := db.Conn(ctx)
	if err != nil {
		return 0, err
	}
	defer conn.Close()
	if err := locker.SessionLock(ctx, conn); err != nil {
		return 0, err
	}
	defer func() { err = errors.Join(err, locker.SessionUnlock(context.WithoutCancel(ctx), conn)) }()
	if n, err = ours(ctx, db); err != nil {
		return n, err
	}
	return n, queue(ctx, db)
}

func ours(ctx context.Context, db *sql.DB) (int, error) {
	sub, err := fs.Sub(files, "sql")
	if err != nil {
		return 0, err
	}
	p, err := goose.NewProvider(goose.DialectPostgres, db, sub)
	if err != nil {
		return 0, err
	}
	done, err := p.Up(ctx)
	return len(done), err
}

// queue brings the tables of the job queue to the newest version that the
// program knows, one transaction a version: in a single one a value of an enum
// would be used where it was added. Its tables have no plant: a job names its
// plant, and no request looks at them.
func queue(ctx context.Context, db *sql.DB) error {
	m, err := rivermigrate.New(riverdatabasesql.New(db), &rivermigrate.Config{Logger: slog.New(slog.DiscardHandler)})
	if err != nil {
		return err
	}
	if _, err := m.Migrate(ctx, rivermigrate.DirectionUp, nil); err != nil {
		return fmt.Errorf("job queue: %w", err)
	}
	if _, err := db.ExecContext(ctx, lend); err != nil {
		return fmt.Errorf("rights on the job queue: %w", err)
	}
	return nil
}

// lend gives the application what it needs of the queue's tables; of its versions
// it may only read.
const lend = `
do $$
declare t text;
begin
  for t in select c.relname from pg_class c where c.relnamespace = 'public'::regnamespace and c.relname like 'river\_%' and c.relkind = 'r' loop
    execute format('grant select on %I to lastgood_application', t);
    if t <> 'river_migration' then
      execute format('grant insert, update, delete on %I to lastgood_application', t);
    end if;
  end loop;
  for t in select c.relname from pg_class c where c.relnamespace = 'public'::regnamespace and c.relname like 'river\_%' and c.relkind = 'S' loop
    execute format('grant usage, select on sequence %I to lastgood_application', t);
  end loop;
end $$`
