package pg

import (
	"context"
	"sync"

	"github.com/jmoiron/sqlx"
)

// Prepared is a statement that PostgreSQL plans once for each connection. It is
// worth it where planning costs more than running: a large statement that looks
// at few rows, often.
type Prepared struct {
	query string
	mu    sync.Mutex
	stmt  *sqlx.Stmt
}

// NewPrepared names a statement; it is prepared when it is first needed.
func NewPrepared(query string) *Prepared { return &Prepared{query: query} }

// Ready prepares the statement. It needs a connection of its own: call it before
// a transaction takes one, or all that there are may be waiting for one more.
func (p *Prepared) Ready(ctx context.Context, db *DB) error {
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.stmt != nil {
		return nil
	}
	stmt, err := db.pool.PreparexContext(ctx, p.query)
	if err != nil {
		return translate(ctx, err)
	}
	p.stmt = stmt
	return nil
}

// Select reads the statement's rows into dst, in a transaction. The statement is
// ready.
func (p *Prepared) Select(ctx context.Context, tx *Tx, dst any, args ...any) error {
	return tx.StmtxContext(ctx, p.stmt).SelectContext(ctx, dst, args...)
}
