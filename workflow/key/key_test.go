package key

import (
	"bytes"
	"crypto/rand"
	"errors"
	"io"
	"os"
	"strings"
	"testing"
	"time"

	"lastgood/workflow/actor"
	"lastgood/workflow/fault"
	"lastgood/workflow/pg"
	"lastgood/workflow/pg/pgtest"
)

func TestMain(m *testing.M) { os.Exit(pgtest.Main(m)) }

// now is the one time at which everything here happens.
var now = time.Date(2025, 3, 4, 12, 0, 0, 0, time.UTC)

// ring is the keys of two invented plants.
type ring struct {
	t  *testing.T
	db *pg.DB
	sc [2]pg.Scope
}

func newRing(t *testing.T) *ring {
	t.Helper()
	db, err := pg.Open(t.Context(), pgtest.DB(t).App, func() time.Time { return now })
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { db.Close() })
	r := &ring{t: t, db: db}
	for i, name := range []string{"Tallow Mere Kitchens", "Oxlip Quay Dairy"} {
		id, err := db.CreatePlant(t.Context(), name, "UTC", nil)
		if err != nil {
			t.Fatal(err)
		}
		r.sc[i] = pg.Scope{Plant: id, By: actor.Actor{ID: "manager-1", Kind: actor.Person}}
	}
	return r
}

func (r *ring) add(plant int, random io.Reader, name string, scopes []Scope, expires time.Time) (secret string, err error) {
	err = r.db.InTx(r.t.Context(), r.sc[plant], func(tx *pg.Tx) error {
		secret, err = Add(r.t.Context(), tx, random, name, scopes, expires)
		return err
	})
	return secret, err
}

func TestAddRefuses(t *testing.T) {
	t.Parallel()
	r := newRing(t)
	later, good := now.Add(time.Hour), []Scope{FactsRead}
	if _, err := r.add(0, rand.Reader, "historian", good, later); err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		name    string
		scopes  []Scope
		expires time.Time
		rule    string
	}{
		{"", good, later, "bad-name"}, {" historian", good, later, "bad-name"}, {strings.Repeat("x", 101), good, later, "bad-name"},
		{"none", nil, later, "no-scope"}, {"odd", []Scope{FactsRead, "facts:delete"}, later, "unknown-word"},
		{"late", good, now, "out-of-range"}, {"historian", good, later, "duplicate"},
	} {
		_, err := r.add(0, rand.Reader, c.name, c.scopes, c.expires)
		var f *fault.Error
		if !errors.As(err, &f) || f.Rule != c.rule {
			t.Errorf("%q %v: %v, want %s", c.name, c.scopes, err, c.rule)
		}
	}
	if _, err := r.add(1, rand.Reader, "historian", good, later); err != nil {
		t.Errorf("another plant's key may have the same name: %v", err)
	}
	if _, err := r.add(0, bytes.NewReader(make([]byte, 31)), "short", good, later); err == nil {
		t.Error("a key of too few random bytes is made")
	}
}

func TestKeyFromItsMakingToItsEnd(t *testing.T) {
	t.Parallel()
	r := newRing(t)
	secret, err := r.add(0, rand.Reader, "historian", []Scope{ReadingsWrite, FactsRead}, now.Add(time.Hour))
	if err != nil {
		t.Fatal(err)
	}
	if !Plausible(secret) || Plausible(secret+"A") || Plausible(strings.TrimPrefix(secret, "lg_")) {
		t.Errorf("%s", secret)
	}
	f, err := Find(t.Context(), r.db, secret)
	if err != nil || f.Plant != r.sc[0].Plant || f.Name != "historian" || len(f.Scopes) != 2 || !f.Ends.Equal(now.Add(time.Hour)) {
		t.Errorf("%+v %v", f, err)
	}
	if _, err := Find(t.Context(), r.db, secret[:len(secret)-1]+"~"); !errors.Is(err, fault.Unauthenticated) {
		t.Errorf("a secret that is nobody's: %v", err)
	}
	for _, plant := range []int{1, 0} { // the stranger first
		want := [...]error{nil, fault.NotFound}[plant]
		err := r.db.InTx(t.Context(), r.sc[plant], func(tx *pg.Tx) error { return Revoke(t.Context(), tx, "historian") })
		if !errors.Is(err, want) {
			t.Errorf("plant %d revokes: %v, want %v", plant, err, want)
		}
	}
	if f, err = Find(t.Context(), r.db, secret); err != nil || !f.Ends.Equal(now) {
		t.Errorf("a revoked key ends at %s, not when it was revoked: %v", f.Ends, err)
	}
	for plant, want := range []int{1, 0} {
		var list []Key
		err := r.db.Read(t.Context(), r.sc[plant], func(tx *pg.Tx) error {
			list, err = List(t.Context(), tx)
			return err
		})
		if err != nil || len(list) != want {
			t.Fatalf("plant %d lists %+v %v", plant, list, err)
		}
		if want == 1 && (list[0].RevokedAt == nil || list[0].CreatedBy != "manager-1" || len(list[0].Scopes) != 2) {
			t.Errorf("%+v", list[0])
		}
	}
}
