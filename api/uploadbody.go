package api

import (
	"errors"
	"io"
	"mime"
	"net"
	"net/http"
	"os"
	"time"

	"github.com/danielgtaylor/huma/v2"
	"github.com/klauspost/compress/gzip"
	"github.com/klauspost/compress/zstd"
)

const (
	ndjson         = "application/x-ndjson"
	commaSeparated = "text/csv"
)

// formOf returns the name that a folder would give a file of this media type.
func formOf(mediaType string) (string, error) {
	m, params, err := mime.ParseMediaType(mediaType)
	charset := params["charset"]
	if err == nil && (charset == "" || charset == "utf-8" || charset == "UTF-8") {
		switch m {
		case ndjson:
			return "readings.ndjson", nil
		case commaSeparated:
			return "readings.csv", nil
		}
	}
	return "", newProblem(http.StatusUnsupportedMediaType, "media-type", "readings come as "+ndjson+" or "+commaSeparated+", in UTF-8")
}

// patient reads a body as long as something of it comes: each read has its own
// deadline, so that a slow sender is served and a silent one is not.
type patient struct {
	ctx   huma.Context
	r     io.Reader
	stall time.Duration
	ended error // why it ended, if not at its end
}

func (p *patient) Read(b []byte) (int, error) {
	_ = p.ctx.SetReadDeadline(time.Now().Add(p.stall)) // a recorder in place of a connection has none
	n, err := p.r.Read(b)
	if err != nil && err != io.EOF {
		p.ended = err
	}
	return n, err
}

var errTooMuch = errors.New("more than may be sent at once")

// capped ends a body that grows too large, whatever it was compressed to.
type capped struct {
	r    io.Reader
	left int64
	over bool
}

func (c *capped) Read(b []byte) (int, error) {
	if c.left < 0 {
		c.over = true
		return 0, errTooMuch
	}
	if int64(len(b)) > c.left+1 {
		b = b[:c.left+1]
	}
	n, err := c.r.Read(b)
	c.left -= int64(n)
	if c.left < 0 {
		c.over = true
		return 0, errTooMuch
	}
	return n, err
}

// mostWindow is what a zstd body may ask us to keep in memory.
const mostWindow = 32 << 20

// lazyReader opens a decompressor at the first read, so that what is wrong with
// its header is told as what is wrong with the rest.
type lazyReader struct {
	open   func() (io.Reader, error)
	r      io.Reader
	failed error // it stays: opened again, it would begin in the midst of the body
}

func (l *lazyReader) Read(b []byte) (int, error) {
	if l.r == nil && l.failed == nil {
		if l.r, l.failed = l.open(); l.failed == io.EOF {
			l.failed = io.ErrUnexpectedEOF
		}
	}
	if l.failed != nil {
		return 0, l.failed
	}
	return l.r.Read(b)
}

// decompressed returns the text of a body, and how to give its memory back.
func decompressed(encoding string, r io.Reader) (io.Reader, func(), error) {
	switch encoding {
	case "", "identity":
		return r, func() {}, nil
	case "gzip", "x-gzip":
		return &lazyReader{open: func() (io.Reader, error) { return gzip.NewReader(r) }}, func() {}, nil
	case "zstd":
		z, err := zstd.NewReader(r, zstd.WithDecoderConcurrency(1), zstd.WithDecoderMaxWindow(mostWindow))
		if err != nil {
			return nil, nil, err
		}
		return z, z.Close, nil
	}
	return nil, nil, newProblem(http.StatusUnsupportedMediaType, "content-encoding", "a body may be plain, or compressed by gzip or zstd")
}

func timedOut(err error) bool {
	var n net.Error
	return errors.Is(err, os.ErrDeadlineExceeded) || errors.As(err, &n) && n.Timeout()
}
