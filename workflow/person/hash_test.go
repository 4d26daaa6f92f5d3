package person

import (
	"context"
	"encoding/hex"
	"errors"
	"strings"
	"testing"

	"golang.org/x/crypto/argon2"
)

func TestPasswordAsItIsKept(t *testing.T) {
	t.Parallel()
	const password = "an invented phrase"
	one, err := keep(t.Context(), password)
	if err != nil {
		t.Fatal(err)
	}
	two, err := keep(t.Context(), password)
	if err != nil {
		t.Fatal(err)
	}
	if one == two || strings.Contains(one, password) || !strings.HasPrefix(one, "$argon2id$v=19$m=19456,t=2,p=1$") {
		t.Errorf("%s\n%s", one, two)
	}
	for p, want := range map[string]bool{password: true, password + " ": false, strings.ToUpper(password): false, "": false} {
		if got, err := verify(t.Context(), one, p); err != nil || got != want {
			t.Errorf("%q: %v %v", p, got, err)
		}
	}
	if got, err := verify(t.Context(), "", ""); err != nil || got {
		t.Errorf("nobody is somebody: %v", err)
	}
}

// TestArgon2id: the function beneath computes argon2id. The value is that of the
// reference implementation's own tests (phc-winner-argon2, test.c: version 0x13,
// t=2, m=64 KiB, p=1, "password", "somesalt"; from memory).
func TestArgon2id(t *testing.T) {
	t.Parallel()
	got := hex.EncodeToString(argon2.IDKey([]byte("password"), []byte("somesalt"), 2, 64*1024, 1, 32))
	if got != "09316115d5cf24ed5a15a31a3ba326e5cf32edc24702987c02b6566f61913cf7" {
		t.Errorf("%s", got)
	}
}

func TestKeptPasswordOfAnotherKind(t *testing.T) {
	t.Parallel()
	good := nobodys()
	for name, kept := range map[string]string{
		"another function": strings.Replace(good, "argon2id", "argon2i", 1), "cheaper": strings.Replace(good, "m=19456", "m=8", 1),
		"short": good[:len(good)-1], "long": good + "A", "no text of ours": "x", "bad salt": strings.Replace(good, "p=1$", "p=1$!", 1)[:len(good)],
	} {
		if ok, err := verify(t.Context(), kept, "a"); err == nil || ok {
			t.Errorf("%s is taken", name)
		}
	}
}

// TestUnknownPersonCostsAHash: nobody is verified by the same work as somebody,
// who waits for the same room. With no room left, both wait.
func TestUnknownPersonCostsAHash(t *testing.T) { // alone: it takes all the room there is
	for range cap(hashing) {
		hashing <- struct{}{}
	}
	gone, cancel := context.WithCancel(t.Context())
	cancel()
	for name, c := range map[string]Credential{"nobody": {}, "no password yet": {person: 1}, "somebody": {person: 1, kept: nobodys()}} {
		if _, err := c.Proves(gone, "a"); !errors.Is(err, context.Canceled) {
			t.Errorf("%s: no hash was asked for: %v", name, err)
		}
	}
	for range cap(hashing) {
		<-hashing
	}
	for name, c := range map[string]Credential{"nobody": {}, "no password yet": {person: 1}} {
		if ok, err := c.Proves(t.Context(), "a"); ok || err != nil {
			t.Errorf("%s: %v %v", name, ok, err)
		}
	}
}

func TestWhichPasswordsAreTaken(t *testing.T) {
	t.Parallel()
	h := &house{T: t}
	known := []string{"qa-lead-number-1", "Person qa-1 Sample", "Tallow Mere Kitchens"}
	for password, rule := range map[string]string{
		"elevenchars": "short-password", "twelve chars": "", "ääääääääääää": "", "ääääääääääö": "short-password", strings.Repeat("a", 12): "",
		strings.Repeat("a", 1001): "bad-password", "twelve bytes\xff": "bad-password",
		"QA-Lead-Number-1": "known-password", "person qa-1 sample ": "known-password", "tallow mere kitchens": "known-password", "tallow mere kitchens 2": "",
	} {
		h.refused(password, fitPassword(password, known...), rule)
	}
}
