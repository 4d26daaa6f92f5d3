package pg

import (
	"database/sql"
	"database/sql/driver"
	"errors"
	"io"
	"net"

	"github.com/lib/pq"
	"github.com/lib/pq/pqerror"

	"lastgood/workflow/fault"
)

// unreachable says whether an error is that the database cannot be reached or
// takes no more work just now: it is starting, stopping, full, or gone.
// Whatever was under way is rolled back.
func unreachable(err error) bool {
	var n net.Error
	if errors.As(err, &n) || errors.Is(err, driver.ErrBadConn) || errors.Is(err, sql.ErrConnDone) ||
		errors.Is(err, io.EOF) || errors.Is(err, io.ErrUnexpectedEOF) {
		return true
	}
	return pq.As(err, pqerror.AdminShutdown, pqerror.CrashShutdown, pqerror.CannotConnectNow, pqerror.TooManyConnections,
		pqerror.ConnectionException, pqerror.ConnectionDoesNotExist, pqerror.ConnectionFailure) != nil
}

// unfit returns the fault of a value that the database cannot keep, whatever
// column it was for; nil if err is something else. The borders refuse such
// values with their place; this is for what got past them.
func unfit(err error) *fault.Error {
	switch {
	case pq.As(err, pqerror.CharacterNotInRepertoire, pqerror.UntranslatableCharacter) != nil:
		return &fault.Error{Kind: fault.Invalid, Rule: "control-character", Detail: "a text is not UTF-8, or has a NUL character in it", Err: err}
	case pq.As(err, pqerror.NumericValueOutOfRange) != nil:
		return &fault.Error{Kind: fault.Invalid, Rule: "out-of-range", Detail: "a number is larger than any that is kept", Err: err}
	}
	return nil
}
