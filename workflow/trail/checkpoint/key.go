package checkpoint

import (
	"crypto/ed25519"
	"crypto/rand"
	"encoding/base64"
	"errors"
	"fmt"
	"strings"

	"golang.org/x/mod/sumdb/note"
)

// Name is the name of the keys of every installation: the number in them tells
// them apart.
const Name = "lastgood"

// Key signs checkpoints and packets. Its String is its public half, so that the
// private one gets into no log.
type Key struct {
	note.Signer
	public string
	seed   []byte
}

// NewKey makes a key.
func NewKey() (*Key, error) {
	_, private, err := ed25519.GenerateKey(rand.Reader)
	if err != nil {
		return nil, fmt.Errorf("checkpoint key: %w", err)
	}
	return keyOf(private.Seed())
}

// keyOf makes a key of its seed.
func keyOf(seed []byte) (*Key, error) {
	private := ed25519.NewKeyFromSeed(seed)
	public, err := note.NewEd25519VerifierKey(Name, private.Public().(ed25519.PublicKey))
	if err != nil {
		return nil, fmt.Errorf("checkpoint key: %w", err)
	}
	// The private form of a note's key: name, number, and after the byte that
	// names the algorithm the seed.
	parts := strings.SplitN(public, "+", 3)
	const ed25519Algorithm = 1
	signer, err := note.NewSigner("PRIVATE+KEY+" + parts[0] + "+" + parts[1] + "+" +
		base64.StdEncoding.EncodeToString(append([]byte{ed25519Algorithm}, seed...)))
	if err != nil {
		return nil, errors.New("checkpoint key: it cannot sign") // the cause would quote the key
	}
	return &Key{signer, public, seed}, nil
}

// header is the first line of a key file.
const header = "lastgood checkpoint key: whoever has this can sign in the name of the plant"

// File returns the text of the file that keeps the key.
func (k *Key) File() []byte {
	return fmt.Appendf(nil, "%s\n%s\n", header, base64.StdEncoding.EncodeToString(k.seed))
}

// ParseFile is the twin of File.
func ParseFile(text []byte) (*Key, error) {
	bad := errors.New("this is no checkpoint key file")
	lines := strings.Split(string(text), "\n")
	if len(lines) != 3 || lines[0] != header || lines[2] != "" {
		return nil, bad
	}
	seed, err := base64.StdEncoding.Strict().DecodeString(lines[1])
	if err != nil || len(seed) != ed25519.SeedSize {
		return nil, bad
	}
	return keyOf(seed)
}

// String returns the verifier key: what anyone needs to check what the key
// signed.
func (k *Key) String() string { return k.public }

// GoString is String, for %#v.
func (k *Key) GoString() string { return k.public }

// Verifier returns what checks the key's own signatures.
func (k *Key) Verifier() note.Verifier {
	v, err := note.NewVerifier(k.public)
	if err != nil {
		panic("checkpoint: a key that was made is no key: " + err.Error())
	}
	return v
}
