package exchange

import (
	"bufio"
	"errors"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"sync/atomic"

	"github.com/klauspost/compress/gzip"
	"github.com/klauspost/compress/zstd"
)

// source is one data file of the folder.
type source struct {
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

// lines says whether the file has one JSON object per line; else it is CSV.
func (s source) lines() bool { return strings.Contains(s.name, ".ndjson") }

// text is the decompressed text of a source, without a byte order mark.
type text struct {
	*bufio.Reader
	limit  *recordLimit
	closes []func()
}

// open opens the file. Bytes taken off the disk are counted in n.
func (s source) open(n *atomic.Int64) (*text, *flaw) {
	f, err := os.Open(filepath.Join(s.dir, s.name))
	if err != nil {
		return nil, unreadable(err)
	}
	t := &text{closes: []func(){func() { _ = f.Close() }}}
	plain, err := t.decompress(s.name, bufio.NewReaderSize(&counter{f, n}, bufferSize))
	if err != nil {
		t.close()
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
	return flawf("damaged-file", "the file is damaged from here on: %v", err)
}

func (t *text) decompress(name string, r io.Reader) (io.Reader, error) {
	switch filepath.Ext(name) {
	case ".gz":
		z, err := gzip.NewReader(r)
		if err != nil {
			return nil, err
		}
		return z, nil
	case ".zst":
		z, err := zstd.NewReader(r, zstd.WithDecoderConcurrency(1), zstd.WithDecoderMaxWindow(largestWindow))
		if err != nil {
			return nil, err
		}
		t.closes = append(t.closes, z.Close)
		return z, nil
	}
	return r, nil
}

func (t *text) close() {
	for _, f := range t.closes {
		f()
	}
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
