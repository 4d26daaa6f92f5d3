package checkpoint

import (
	"encoding/hex"
	"fmt"
	"strings"
	"testing"

	"golang.org/x/mod/sumdb/note"
	"golang.org/x/mod/sumdb/tlog"
)

// The leaves and roots of design notes on standards, §11 (those of the reference
// implementation of certificate transparency, recomputed there).
var (
	leaves = []string{"", "00", "10", "2021", "3031", "40414243", "5051525354555657", "606162636465666768696a6b6c6d6e6f"}
	roots  = []string{
		"e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855",
		"6e340b9cffb37a989ca544e6bb780a2c78901d3fb33738768511a30617afa01d",
		"fac54203e7cc696cf0dfcb42c92a1d9dbaf70ad9e621f4bd8d98662f00e3c125",
		"aeb6bcfe274b70a14fb067a5e5578264db0fa9b51af5e0ba159158f329e06e77",
		"d37ee418976dd95753c1c73862b9398fa2a2cf9b4ff0fdfe8b30cd95209614b7",
		"4e3bbb1f7b478dcfe71fb631631519a3bca12c9aefca1612bfce4c13a86264d4",
		"76e67dadbcdf1e10e1b74ddc608abd2f98dfb16fbce75277b5232a127f2087ef",
		"ddb89be403809e325750d3d263cd78929c2942b7942a34b77e122c9594a74c8c",
		"5dc9da79a70659a9ad559cb701ded9a2ab9d823aad2f4960cfe370eff4604328",
	}
)

// grown is the log of the leaves, hash by stored hash.
func grown(t *testing.T) tlog.HashReaderFunc {
	t.Helper()
	var stored []tlog.Hash
	r := tlog.HashReaderFunc(func(at []int64) ([]tlog.Hash, error) {
		out := make([]tlog.Hash, len(at))
		for i, n := range at {
			if n >= int64(len(stored)) {
				return nil, fmt.Errorf("hash %d is not stored", n)
			}
			out[i] = stored[n]
		}
		return out, nil
	})
	for n, l := range leaves {
		body, err := hex.DecodeString(l)
		if err != nil {
			t.Fatal(err)
		}
		more, err := tlog.StoredHashes(int64(n), body, r)
		if err != nil {
			t.Fatal(err)
		}
		stored = append(stored, more...)
	}
	return r
}

func hexed(list []tlog.Hash) string {
	var out []string
	for _, h := range list {
		out = append(out, hex.EncodeToString(h[:]))
	}
	return strings.Join(out, " ")
}

// design notes on standards, §11: roots by size, two inclusion proofs and two
// consistency proofs.
func TestTreeIsThatOfTheStandard(t *testing.T) {
	t.Parallel()
	r := grown(t)
	for n, want := range roots {
		root, err := tlog.TreeHash(int64(n), r)
		if n == 0 { // the root of no leaf is the hash of nothing, not of 32 zeroes: nobody signs that
			continue
		}
		if err != nil || hex.EncodeToString(root[:]) != want {
			t.Errorf("root of %d: %x, %v", n, root[:], err)
		}
	}
	for _, c := range []struct {
		leaf, size int64
		want       string
	}{
		{5, 8, "bc1a0643b12e4d2d7c77918f44e0f4f79a838b6cf9ec5b5c283e1f4d88599e6b ca854ea128ed050b41b35ffc1b87b8eb2bde461e9e3b5596ece6b9d5975a0ae0 d37ee418976dd95753c1c73862b9398fa2a2cf9b4ff0fdfe8b30cd95209614b7"},
		{2, 3, "fac54203e7cc696cf0dfcb42c92a1d9dbaf70ad9e621f4bd8d98662f00e3c125"},
	} {
		p, err := tlog.ProveRecord(c.size, c.leaf, r)
		if got := hexed(p); err != nil || got != c.want {
			t.Errorf("leaf %d of %d: %s, %v", c.leaf, c.size, got, err)
		}
	}
	for _, c := range []struct {
		from, to int64
		want     string
	}{
		{3, 7, "0298d122906dcfc10892cb53a73992fc5b9f493ea4c9badb27b791b4127a7fe7 07506a85fd9dd2f120eb694f86011e5bb4662e5c415a62917033d4a9624487e7 fac54203e7cc696cf0dfcb42c92a1d9dbaf70ad9e621f4bd8d98662f00e3c125 837dbb152e9b079010717e84e865da4ebc0fa198a806d59d31bf15accef22d0e"},
		{6, 8, "0ebc5d3437fbe2db158b9f126a1d118e308181031d0a949f8dededebc558ef6a ca854ea128ed050b41b35ffc1b87b8eb2bde461e9e3b5596ece6b9d5975a0ae0 d37ee418976dd95753c1c73862b9398fa2a2cf9b4ff0fdfe8b30cd95209614b7"},
	} {
		p, err := tlog.ProveTree(c.to, c.from, r)
		if got := hexed(p); err != nil || got != c.want {
			t.Errorf("%d to %d: %s, %v", c.from, c.to, got, err)
		}
	}
}

// design notes on standards, §11: the published vector of the signed note, and
// the signed checkpoint of the tree of eight.
func TestNotesOfTheStandardAreOpened(t *testing.T) {
	t.Parallel()
	example, err := note.NewVerifier("example.com/foo+530d903a+AekyeRrm56hApGFkyQR4ZCbV54Id2LKaANYcrnKv3U2k")
	if err != nil {
		t.Fatal(err)
	}
	text, err := OpenNote([]byte("This is an example message.\n\n— example.com/foo Uw2QOkn8srV1yJGh2VYRlL1Tnagv1YEq6TfXppzi2ONncAlTgK7Ztg1ERYNZXsYjOBH3mFXmRKuwHjG1Yu72IneyaQM=\n"), example)
	if err != nil || text != "This is an example message.\n" {
		t.Errorf("%q, %v", text, err)
	}
	const signed = "plant.example/deviation-log\n8\nXcnaeacGWamtVZy3Ad7ZoqudgjqtL0lgz+Nw7/RgQyg=\n\n" +
		"— plant.example/deviation-log O0+aB1ihDdvaHNrIokzVQbLBjDHEoT/5TC/DlzwTP4czyNv52qIV6Z2xQkVicTpkwmUdGa26kl3iV2lJxpD1EZelhgc=\n"
	plant, err := note.NewVerifier("plant.example/deviation-log+3b4f9a07+AQOhB7/zzhC+HXDdGOdLwJln5NYwm6UNXx3chmQSVTG4")
	if err != nil {
		t.Fatal(err)
	}
	c, err := Open([]byte(signed), plant)
	if err != nil || c.Size != 8 || hex.EncodeToString(c.Root[:]) != roots[8] || c.Origin != "plant.example/deviation-log" {
		t.Errorf("%+v, %v", c, err)
	}
	for i := range len(signed) { // no byte of a checkpoint can change
		b := []byte(signed)
		b[i] ^= 1
		if _, err := Open(b, plant); err == nil {
			t.Errorf("byte %d changed: %q is opened", i, b)
		}
	}
	if _, err := Open([]byte(signed), example); err == nil {
		t.Error("opened with another's key")
	}
}

func TestCheckpointIsReadAsItIsWritten(t *testing.T) {
	t.Parallel()
	k, err := NewKey()
	if err != nil {
		t.Fatal(err)
	}
	kept, err := ParseFile(k.File())
	if err != nil || kept.String() != k.String() {
		t.Fatalf("%v is read back as %v: %v", k, kept, err)
	}
	for _, form := range []string{"%v", "%+v", "%#v", "%s"} {
		if s := fmt.Sprintf(form, k); s != k.String() {
			t.Errorf("%s prints %s", form, s)
		}
	}
	c := Checkpoint{Origin("Alder Hill/2", 1), 7, tlog.Hash{1, 2}}
	signed, err := c.Sign(k)
	if err != nil {
		t.Fatal(err)
	}
	if got, err := Open(signed, kept.Verifier()); err != nil || got != c {
		t.Errorf("%+v is read back as %+v: %v", c, got, err)
	}
	if p, n, ok := PlantOf(c.Origin); p != "Alder Hill/2" || n != 1 || !ok {
		t.Errorf("%s: %s, %d, %v", c.Origin, p, n, ok)
	}
	for _, bad := range []string{"", "lastgood", "other/x", "lastgood/x/restored-0", "lastgood/x/restored-01", "lastgood/a b", "lastgood/x/y/z"} {
		if p, n, ok := PlantOf(bad); ok {
			t.Errorf("%q is the log of %q, %d", bad, p, n)
		}
	}
	root := tlog.Hash{}.String()
	for _, bad := range []string{"", "a\n1\n", "a\n01\n" + root + "\n", "a\n-1\n" + root + "\n", "a\n1\n" + root, "\n1\n" + root + "\n", "a\n1\n" + root + "\nmore\n", "a\n1\nAAA=\n"} {
		if c, err := Parse(bad); err == nil {
			t.Errorf("%q is %+v", bad, c)
		}
	}
	for _, bad := range []string{"", string(k.File()) + "x", strings.Replace(string(k.File()), "key", "kex", 1), header + "\nAAAA\n"} {
		if _, err := ParseFile([]byte(bad)); err == nil {
			t.Errorf("%q is a key", bad)
		}
	}
}
