package main

import (
	"bytes"
	"context"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"lastgood/api/packet"
	"lastgood/workflow/trail/checkpoint"
)

// A packet is checked with the public key alone; one that was altered ends with
// status 1 and the name of what was.
func TestVerifyTellsWhatWasAltered(t *testing.T) {
	t.Parallel()
	key, err := checkpoint.NewKey()
	if err != nil {
		t.Fatal(err)
	}
	signed, err := checkpoint.Checkpoint{Origin: checkpoint.Origin("Alder Hill", 0), Size: 1}.Sign(key)
	if err != nil {
		t.Fatal(err)
	}
	var b bytes.Buffer
	c := packet.Contents{About: packet.About{Plant: "Alder Hill", Deviation: 7, Streams: []packet.Stream{}}, Checkpoint: signed, Records: []packet.Record{},
		Files: []packet.File{{Name: "readings.csv", Data: []byte("lot,value\r\nA,71.2\r\nB,72.2\r\n")}}}
	if _, err := c.Write(&b, func(text string) ([]byte, error) { return checkpoint.SignText(text, key) }); err != nil {
		t.Fatal(err)
	}
	path := filepath.Join(t.TempDir(), "packet.zip")
	verify := func(text []byte, key string, want int, says string) {
		t.Helper()
		if err := os.WriteFile(path, text, 0o600); err != nil {
			t.Fatal(err)
		}
		var out, errs bytes.Buffer
		if code := run(context.Background(), []string{"verify", path, "--key", key}, &out, &errs); code != want || !strings.Contains(out.String()+errs.String(), says) {
			t.Errorf("status %d, want %d:\n%s%s", code, want, out.String(), errs.String())
		}
	}
	verify(b.Bytes(), key.String(), exitClear, "is as it was made: deviation 7 of Alder Hill")
	verify(bytes.Replace(b.Bytes(), []byte("B,72.2"), []byte("B,71.2"), 1), key.String(), exitTrouble, "altered: readings.csv: line 3 was altered")
	verify(b.Bytes(), "no key", exitBad, "--key")
}
