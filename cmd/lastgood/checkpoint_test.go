package main

import (
	"bytes"
	"context"
	"database/sql"
	"errors"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"golang.org/x/mod/sumdb/note"

	"lastgood/api"
	"lastgood/workflow/trail/checkpoint"
)

// addLot adds a lot and returns the rule that it was refused by; empty: none.
func (i *installation) addLot(code string) string {
	i.Helper()
	_, err := i.send(context.Background(), "POST", "/v1/lots", "application/json", []byte(`{"items":[{"lot":"`+code+`"}]}`))
	var p *api.Problem
	if errors.As(err, &p) {
		return p.Rule
	}
	if err != nil {
		i.Fatal(err)
	}
	return ""
}

// seen waits until the witness has seen a checkpoint of a kind and returns it.
func (i *installation) seen(path string, is func(checkpoint.Checkpoint) bool) checkpoint.Checkpoint {
	i.Helper()
	for deadline := time.Now().Add(time.Minute); ; time.Sleep(50 * time.Millisecond) {
		list, err := readWitness(path)
		if err != nil {
			i.Fatal(err)
		}
		if c, err := checkpoint.Unchecked(list[plantName]); err == nil && is(c) {
			return c
		}
		if time.Now().After(deadline) {
			i.Fatalf("it was not witnessed: %q", list)
		}
	}
}

func (i *installation) copyFolder(from, to string) {
	i.Helper()
	if err := os.RemoveAll(to); err != nil {
		i.Fatal(err)
	}
	if out, err := exec.Command("cp", "-a", from, to).CombinedOutput(); err != nil {
		i.Fatalf("%v: %s", err, out)
	}
}

// A backup that is older than what was witnessed outside is found out at the
// start: the server reads and does not write, until an operator accepts it for a
// reason (design notes on signing, N-13 and E-041).
func TestOldBackupIsFoundOut(t *testing.T) {
	t.Parallel()
	i := newInstallation(t)
	witness := filepath.Join(t.TempDir(), "witness.ndjson")
	data := []string{"--data", i.dir}
	key := strings.TrimSpace(i.program(append([]string{"checkpoint", "key"}, data...)...))
	if _, err := note.NewVerifier(key); err != nil {
		t.Fatal(err)
	}
	backup := i.dir + ".backup"
	t.Cleanup(func() { os.RemoveAll(backup) })
	i.copyFolder(i.dir, backup)
	i.where = append(i.where, "--checkpoint-file", witness)
	i.serve()
	for _, code := range []string{"A", "B", "C"} {
		if rule := i.addLot(code); rule != "" {
			t.Fatal(rule)
		}
	}
	before := i.seen(witness, func(c checkpoint.Checkpoint) bool { return c.Size >= 4 }) // the key and three lots
	i.kill()
	i.serve() // nothing has gone back
	if rule := i.addLot("D"); rule != "" {
		t.Fatal(rule)
	}
	i.kill()
	i.behind(func(*sql.DB) {}) // the database has ended, too

	i.copyFolder(backup, i.dir)
	i.serve()
	if rule := i.addLot("E"); rule != "log-regressed" {
		t.Fatalf("written to an old backup: %q", rule)
	}
	if _, err := i.send(context.Background(), "GET", "/v1/deviations", "", nil); err != nil {
		t.Errorf("it does not read: %v", err)
	}
	i.kill()
	said := i.program(append([]string{"checkpoint", "accept", "--plant", plantName, "--reason", "the disk broke", "--checkpoint-file", witness}, data...)...)
	if !strings.HasPrefix(said, "accepted: plant "+plantName+": the log has ") {
		t.Error(said)
	}
	i.serve()
	if rule := i.addLot("E"); rule != "" {
		t.Error(rule)
	}
	i.seen(witness, func(c checkpoint.Checkpoint) bool { return c.Origin == before.Origin+"/restored-1" }) // no two histories have one name
}

func TestWitnessFile(t *testing.T) {
	t.Parallel()
	path := filepath.Join(t.TempDir(), "w")
	if list, err := readWitness(path); err != nil || len(list) != 0 {
		t.Errorf("no file: %v, %v", list, err)
	}
	key, err := keyFlag{CheckpointKey: filepath.Join(t.TempDir(), "a", "key")}.signer(kept{}, new(bytes.Buffer))
	if err != nil {
		t.Fatal(err)
	}
	for _, size := range []int64{3, 9, 7} {
		add, err := witnessTo(path)
		if err != nil {
			t.Fatal(err)
		}
		signed, err := checkpoint.Checkpoint{Origin: checkpoint.Origin("X", 0), Size: size}.Sign(key)
		if err != nil {
			t.Fatal(err)
		}
		if err := add(signed); err != nil {
			t.Fatal(err)
		}
		f, err := os.OpenFile(path, os.O_WRONLY|os.O_APPEND, 0)
		if err != nil {
			t.Fatal(err)
		}
		if size == 7 { // a line that was never finished counts for nothing
			f.WriteString(`{"checkpoint":"lastgood/X\n99`)
		}
		f.Close()
	}
	list, err := readWitness(path)
	if err != nil {
		t.Fatal(err)
	}
	if c, err := checkpoint.Open(list["X"], key.Verifier()); err != nil || c.Size != 9 {
		t.Errorf("%+v, %v", c, err)
	}
	if err := os.WriteFile(path, []byte("other\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	if list, err := readWitness(path); err == nil {
		t.Errorf("no checkpoint is read as %v", list)
	}
}

// The key is made once, is nobody else's to read, and is never printed.
func TestKeyIsMadeOnce(t *testing.T) {
	t.Parallel()
	f := keyFlag{CheckpointKey: filepath.Join(t.TempDir(), "a", "key")}
	var said bytes.Buffer
	first, err := f.signer(kept{}, &said)
	if err != nil {
		t.Fatal(err)
	}
	again, err := f.signer(kept{}, &said)
	if err != nil || again.String() != first.String() {
		t.Errorf("%v, then %v: %v", first, again, err)
	}
	info, err := os.Stat(f.CheckpointKey)
	if err != nil || info.Mode().Perm() != 0o600 {
		t.Errorf("%v, %v", info, err)
	}
	secret := strings.Split(string(first.File()), "\n")[1]
	if n := strings.Count(said.String(), f.CheckpointKey); n != 1 || strings.Contains(said.String(), secret) {
		t.Errorf("said %q", said.String())
	}
}
