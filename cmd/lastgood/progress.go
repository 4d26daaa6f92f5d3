package main

import (
	"io"
	"os"

	"github.com/schollz/progressbar/v3"
	"golang.org/x/term"

	"lastgood/api/exchange"
)

// bar shows how far a long load is, on a terminal only.
type bar struct{ p *progressbar.ProgressBar }

func newBar(w io.Writer, f *exchange.Folder) *bar {
	file, ok := w.(*os.File)
	if !ok || !term.IsTerminal(int(file.Fd())) || f.ReadingsSize() == 0 {
		return &bar{}
	}
	return &bar{progressbar.NewOptions64(f.ReadingsSize(), progressbar.OptionSetWriter(w),
		progressbar.OptionSetDescription("readings"), progressbar.OptionShowBytes(true), progressbar.OptionClearOnFinish())}
}

// Set says how many bytes have been read.
func (b *bar) Set(n int64) {
	if b.p != nil {
		b.p.Set64(n)
	}
}

// Finish clears the bar.
func (b *bar) Finish() {
	if b.p != nil {
		b.p.Finish()
	}
}
