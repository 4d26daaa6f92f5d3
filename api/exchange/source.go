package exchange

import (
	"bufio"
	"errors"
	"io"
	"io/fs"
	"path/filepath"
	"strings"
	"sync/atomic"
	"time"

	"github.com/klauspost/compress/gzip"
	"github.com/klauspost/compress/zstd"
)

// source is one data file of the folder.
type source struct {
	zone *time.Location // of the site; nil: unknown
	dir  string
	name string // in the folder, "readings.csv.gz"; empty: there is none
	size int64  // on disk
}

const (
	bufferSize = 64 << 10
	// largestWindow is what a zstd file may ask us to keep in memory: what the
	// strongest usual settings need, and no more.
	largestWindow = 128 << 20
	// longestRecord bounds a line, or a quoted field that is never closed: without
	// it one missing quote would take the rest of a large file into memory.
	longestRecord = 1 << 20
)

var errTooLong = errors.New("a record is longer than 1 MiB")

// text is the decompressed text of a data file, without a byte order mark.
type text struct {
	*bufio.Reader
	name  string
	limit *recordLimit
	close func() // gives the decompressor's memory back
}

// lines says whether the file has one JSON object per line; else it is CSV.
func (t *text) lines() bool { return strings.Contains(t.name, ".ndjson") }

// newText returns the text of what r has, which is a file called name.
func newText(name string, r io.Reader) (*text, *flaw) {
	t := &text{name: name, close: func() {}}
	plain, err := t.decompress(bufio.NewReaderSize(r, bufferSize))
	if err != nil {
		return nil, damaged(err)
	}
	t.limit = &recordLimit{r: plain}
	t.Reader = bufio.NewReaderSize(t.limit, bufferSize)
	if mark, err := t.Peek(3); err == nil && string(mark) == "\ufeff" {
		_, _ = t.Discard(len(mark))
	}
	return t, nil
}

// unreadable is the flaw of a file that the system does not give us. The path is
// left out: the person knows the folder, and the file is named anyway.
func unreadable(err error) *flaw {
	var path *fs.PathError
	if errors.As(err, &path) {
		err = path.Err
	}
	return flawf("unreadable", "the file cannot be read: %v", err)
}

// damaged is the flaw of a file that ends in its midst.
func damaged(err error) *flaw {
	if errors.Is(err, errTooLong) || errors.Is(err, bufio.ErrTooLong) {
		return flawf("too-long", "a row is longer than 1 MiB (is a quote never closed?); the rest of the file was not read")
	}
	if errors.Is(err, io.ErrUnexpectedEOF) {
		return flawf("truncated", "the file ends in its midst: send it again whole")
	}
	return flawf("damaged-file", "the file is damaged from here on: %v", err)
}

func (t *text) decompress(r io.Reader) (io.Reader, error) {
	switch filepath.Ext(t.name) {
	case ".gz":
		return gzip.NewReader(r)
	case ".zst":
		z, err := zstd.NewReader(r, zstd.WithDecoderConcurrency(1), zstd.WithDecoderMaxWindow(largestWindow))
		if err != nil {
			return nil, err
		}
		t.close = z.Close
		return z, nil
	}
	return r, nil
}

// counter counts what is read from the file, for the progress of a long import.
type counter struct {
	r io.Reader
	n *atomic.Int64
}

func (c *counter) Read(p []byte) (int, error) {
	n, err := c.r.Read(p)
	c.n.Add(int64(n))
	return n, err
}

// recordLimit refuses to go on when one record has taken too many bytes.
type recordLimit struct {
	r    io.Reader
	used int
}

// begin says that a new record begins.
func (l *recordLimit) begin() { l.used = 0 }

func (l *recordLimit) Read(p []byte) (int, error) {
	if l.used > longestRecord {
		return 0, errTooLong
	}
	n, err := l.r.Read(p)
	l.used += n
	return n, err
}
