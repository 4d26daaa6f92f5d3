package exchange

import (
	"io"
	"iter"
	"time"

	"lastgood/workflow/reading"
)

// Upload is a file of readings that comes in as a stream.
type Upload struct {
	name    string
	zone    *time.Location
	in      io.Reader
	stopped []Problem
}

// NewUpload returns the file that r has; its name ends as a file's in a folder
// does, .csv or .ndjson, and says what form it has. zone is the site's, by which
// a time without an offset is told apart that was twice or never.
func NewUpload(name string, r io.Reader, zone *time.Location) *Upload {
	return &Upload{name: name, zone: zone, in: r}
}

// Readings is as [Folder.Readings], for one pass. What ends the file before its
// end is told by Stopped and not here.
func (u *Upload) Readings() iter.Seq2[Row[reading.Reading], *Problem] {
	return func(yield func(Row[reading.Reading], *Problem) bool) {
		r := newRecord(u.name, readingTable)
		r.zone = u.zone
		in, f := newText(u.name, u.in)
		if f != nil {
			r.fail("", f)
			u.stopped = r.bad
			return
		}
		defer in.close()
		readings(func(yield func(*record) bool) {
			for from := in.rows(r); from.next(r); r.bad = nil {
				if !yield(r) {
					return
				}
			}
			u.stopped = r.bad
		})(yield)
	}
}

// Stopped returns why the pass ended before the file did: it broke off, or was
// no such file from the start. Nil: it was read to its end.
func (u *Upload) Stopped() []Problem { return u.stopped }
