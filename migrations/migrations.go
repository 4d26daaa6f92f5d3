// Package migrations is the schema: embedded SQL, forward only, applied under
// one lock so that several processes may start at once. It imports nothing of
// ours.
package migrations

import (
	"context"
	"database/sql"
	"embed"
	"fmt"
	"io/fs"

	_ "github.com/lib/pq" // the driver that the given connection string is for
	"github.com/pressly/goose/v3"
	"github.com/pressly/goose/v3/lock"
)

//go:embed sql/*.sql
var files embed.FS

// Up brings the database of the owner's connection string to the newest
// version and returns how many migrations it applied. Processes that start
// together wait for each other, up to a minute.
func Up(ctx context.Context, ownerDSN string) (int, error) {
	db, err := sql.Open("postgres", ownerDSN)
	if err != nil {
		return 0, fmt.Errorf("migrations: %w", err)
	}
	defer db.Close()
	sub, err := fs.Sub(files, "sql")
	if err != nil {
		return 0, fmt.Errorf("migrations: %w", err)
	}
	locker, err := lock.NewPostgresSessionLocker(lock.WithLockTimeout(1, 60))
	if err != nil {
		return 0, fmt.Errorf("migrations: %w", err)
	}
	p, err := goose.NewProvider(goose.DialectPostgres, db, sub, goose.WithSessionLocker(locker))
	if err != nil {
		return 0, fmt.Errorf("migrations: %w", err)
	}
	done, err := p.Up(ctx)
	if err != nil {
		return len(done), fmt.Errorf("migrations: %w", err)
	}
	return len(done), nil
}
