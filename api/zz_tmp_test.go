package api

import (
	"os"
	"testing"
)

func TestZZ(t *testing.T) {
	p := newPacked(t)
	names, files := p.unzip(p.whole)
	t.Log(names)
	os.WriteFile("/tmp/report.pdf", files["report.pdf"], 0o644)
	os.WriteFile("/tmp/ledger.csv", files["sections/recall_ledger.csv"], 0o644)
	os.WriteFile("/tmp/pack.csv", files["sections/recall_pack.csv"], 0o644)
}
