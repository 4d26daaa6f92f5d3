package person

import (
	"context"
	"crypto/rand"
	"crypto/subtle"
	"encoding/base64"
	"fmt"
	"sync"

	"golang.org/x/crypto/argon2"
)

// A password is kept as argon2id of 19 MiB, two passes and one lane, in the PHC
// string form, so that what a hash was made with stands in it. The parameters are
// a published recommendation for password storage (from memory).
const (
	memory  = 19 * 1024 // KiB
	passes  = 2
	lanes   = 1
	saltLen = 16
	hashLen = 32
	phcForm = "$argon2id$v=%d$m=%d,t=%d,p=%d$%s$%s"
)

// hashing bounds how many hashes are computed at once: each takes 19 MiB, and
// anybody may ask for one.
var hashing = make(chan struct{}, 4)

// hash computes one hash when there is room for it.
func hash(ctx context.Context, password string, salt []byte) ([]byte, error) {
	select {
	case hashing <- struct{}{}:
		defer func() { <-hashing }()
		return argon2.IDKey([]byte(password), salt, passes, memory, lanes, hashLen), nil
	case <-ctx.Done():
		return nil, ctx.Err()
	}
}

// keep returns what is kept of a password.
func keep(ctx context.Context, password string) (string, error) {
	salt := make([]byte, saltLen)
	_, _ = rand.Read(salt) // never fails: it ends the program instead
	h, err := hash(ctx, password, salt)
	if err != nil {
		return "", err
	}
	return phc(salt, h), nil
}

func phc(salt, hash []byte) string {
	enc := base64.RawStdEncoding.EncodeToString
	return fmt.Sprintf(phcForm, argon2.Version, memory, passes, lanes, enc(salt), enc(hash))
}

// nobodys is kept of a password that nobody has.
var nobodys = sync.OnceValue(func() string {
	b := make([]byte, saltLen+hashLen)
	_, _ = rand.Read(b)
	return phc(b[:saltLen], b[saltLen:])
})

// verify says whether a password is the one that something was kept of. kept is
// empty where there is none: then as much is computed, so that how long it takes
// does not tell who is known.
func verify(ctx context.Context, kept, password string) (bool, error) {
	if kept == "" {
		kept = nobodys()
	}
	salt, want, err := parse(kept)
	if err != nil {
		return false, err
	}
	got, err := hash(ctx, password, salt)
	if err != nil {
		return false, err
	}
	return subtle.ConstantTimeCompare(got, want) == 1, nil
}

// parse takes a PHC string apart. Only our own parameters are known: a change of
// them has to say what becomes of what was kept before.
func parse(kept string) (salt, hash []byte, err error) {
	var v, m, t, p int
	var rest string
	if _, err := fmt.Sscanf(kept, "$argon2id$v=%d$m=%d,t=%d,p=%d$%s", &v, &m, &t, &p, &rest); err != nil {
		return nil, nil, fmt.Errorf("password as it is kept: %w", err)
	}
	if v != argon2.Version || m != memory || t != passes || p != lanes {
		return nil, nil, fmt.Errorf("password as it is kept: version %d with m=%d, t=%d, p=%d is not known", v, m, t, p)
	}
	size := base64.RawStdEncoding.EncodedLen(saltLen)
	if len(rest) != size+1+base64.RawStdEncoding.EncodedLen(hashLen) || rest[size] != '$' {
		return nil, nil, fmt.Errorf("password as it is kept: salt or hash has the wrong length")
	}
	if salt, err = base64.RawStdEncoding.DecodeString(rest[:size]); err != nil {
		return nil, nil, fmt.Errorf("password as it is kept: %w", err)
	}
	if hash, err = base64.RawStdEncoding.DecodeString(rest[size+1:]); err != nil {
		return nil, nil, fmt.Errorf("password as it is kept: %w", err)
	}
	return salt, hash, nil
}
