package person

import (
	"context"
	"crypto/rand"
	"crypto/sha256"
	"fmt"
	"strings"
	"time"
	"unicode/utf8"

	"lastgood/workflow/fault"
	"lastgood/workflow/pg"
)

// codeLasts is how long a one-time code can be used.
const codeLasts = 7 * 24 * time.Hour

// newCode gives somebody a one-time code. One that they had before is worth
// nothing any more.
func newCode(ctx context.Context, tx *pg.Tx, id int) (string, error) {
	text := rand.Text()[:16] // 80 random bits, and five tries
	const give = `update person_credential set code_digest = $3, code_expires_at = $4 where plant_id = $1 and person_id = $2`
	if _, err := tx.ExecContext(ctx, give, tx.Plant, id, digest(text), tx.Now.Add(codeLasts)); err != nil {
		return "", fmt.Errorf("one-time code: %w", err)
	}
	return text[:4] + "-" + text[4:8] + "-" + text[8:12] + "-" + text[12:], nil
}

// asTyped brings a one-time code that somebody typed into the form that was
// digested.
func asTyped(code string) string {
	return strings.ToUpper(strings.NewReplacer("-", "", " ", "").Replace(code))
}

// digest is what is kept of a secret that is random, not chosen by a person.
func digest(secret string) []byte {
	d := sha256.Sum256([]byte(secret))
	return d[:]
}

// The bounds of a password, in characters and in bytes.
const (
	leastChars = 12
	mostBytes  = 1000
)

// fitPassword refuses a password that is too short, or that everybody knows of
// its owner. There are no rules on which characters it takes.
func fitPassword(password string, known ...string) error {
	switch {
	case !utf8.ValidString(password) || len(password) > mostBytes:
		return fault.New(fault.Invalid, "bad-password", "a password is text of at most %d bytes", mostBytes).In("password")
	case utf8.RuneCountInString(password) < leastChars:
		return fault.New(fault.Invalid, "short-password", "a password has at least %d characters; which ones is up to you", leastChars).In("password")
	}
	for _, k := range known {
		if strings.EqualFold(strings.TrimSpace(password), k) {
			return fault.New(fault.Invalid, "known-password", "a password is not your code, your name, or the plant's name").In("password")
		}
	}
	return nil
}
