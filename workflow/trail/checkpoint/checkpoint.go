// Package checkpoint is the format of what a log of the decision trail is signed
// by: a few lines of text that say how long the log is and what its root is, in
// a signed note. It knows no database: whoever was given a checkpoint and the
// public key can read it.
//
// The text has three lines, each ended by a newline (C2SP tlog-checkpoint):
//
//	lastgood/PLANT   the origin: the name of the log, path-escaped
//	8                how many leaves it has, in decimal
//	XcnaeacG…        base64 of the root of RFC 6962, section 2.1
//
// It is followed by an empty line and signatures (C2SP signed-note), each "— ",
// the name of a key, a space, and base64 of four bytes that name the key and 64
// bytes of Ed25519.
package checkpoint

import (
	"encoding/base64"
	"errors"
	"fmt"
	"net/url"
	"strconv"
	"strings"

	"golang.org/x/mod/sumdb/note"
	"golang.org/x/mod/sumdb/tlog"
)

// Checkpoint is what is said of a log at one size.
type Checkpoint struct {
	Origin string
	Size   int64
	Root   tlog.Hash
}

// Origin names the log of a plant. A log that an operator let begin again at an
// older state, restored times, has a name of its own each time: of one log there
// are never two checkpoints that contradict each other.
func Origin(plant string, restored int) string {
	o := "lastgood/" + url.PathEscape(plant)
	if restored > 0 {
		o += "/restored-" + strconv.Itoa(restored)
	}
	return o
}

// PlantOf returns the plant whose log an origin names and how often it was
// restored; false if it is no origin of ours.
func PlantOf(origin string) (plant string, restored int, ok bool) {
	parts := strings.Split(origin, "/")
	if len(parts) == 3 {
		n, found := strings.CutPrefix(parts[2], "restored-")
		var err error
		if restored, err = strconv.Atoi(n); !found || err != nil || restored < 1 {
			return "", 0, false
		}
		parts = parts[:2]
	}
	if len(parts) != 2 {
		return "", 0, false
	}
	plant, err := url.PathUnescape(parts[1])
	return plant, restored, err == nil && Origin(plant, restored) == origin
}

// Text returns what is signed.
func (c Checkpoint) Text() string { return fmt.Sprintf("%s\n%d\n%s\n", c.Origin, c.Size, c.Root) }

// Parse is the twin of Text. It takes only what Text would write.
func Parse(text string) (c Checkpoint, err error) {
	lines := strings.Split(text, "\n")
	if len(lines) != 4 {
		return c, errors.New("a checkpoint has three lines")
	}
	c.Origin = lines[0]
	if c.Size, err = strconv.ParseInt(lines[1], 10, 64); err != nil || c.Size < 0 {
		return c, errors.New("the size of a checkpoint is a whole number")
	}
	if c.Root, err = tlog.ParseHash(lines[2]); err != nil {
		return c, errors.New("the root of a checkpoint is 32 bytes in base64")
	}
	if c.Origin == "" || c.Text() != text {
		return c, errors.New("a checkpoint is written in one way only")
	}
	return c, nil
}

// Sign returns the checkpoint as a signed note.
func (c Checkpoint) Sign(s note.Signer) ([]byte, error) {
	return SignText(c.Text(), s)
}

// Open reads a signed checkpoint, whose signature must be by the key.
func Open(signed []byte, key note.Verifier) (Checkpoint, error) {
	text, err := OpenNote(signed, key)
	if err != nil {
		return Checkpoint{}, err
	}
	return Parse(text)
}

// OpenNote returns the text of a note whose signature is by the key. Base64 that
// has bits which nobody reads is refused, as are notes with other signatures
// whose bytes nobody could check: of what is opened here no byte can change.
func OpenNote(signed []byte, key note.Verifier) (string, error) {
	n, err := note.Open(signed, note.VerifierList(key))
	if err != nil {
		return "", fmt.Errorf("signature: %w", err)
	}
	if len(n.UnverifiedSigs) > 0 || len(n.Sigs) != 1 {
		return "", errors.New("signature: there are others than that of the key")
	}
	if _, err := base64.StdEncoding.Strict().DecodeString(n.Sigs[0].Base64); err != nil {
		return "", errors.New("signature: its base64 is not written as it would be")
	}
	return n.Text, nil
}

// SignText returns a text as a signed note.
func SignText(text string, s note.Signer) ([]byte, error) {
	return note.Sign(&note.Note{Text: text}, s)
}

// Unchecked reads a signed checkpoint and does not check its signature: for what
// comes from one's own table, or to tell whose it would be.
func Unchecked(signed []byte) (Checkpoint, error) {
	text, _, _ := strings.Cut(string(signed), "\n\n")
	return Parse(text + "\n")
}
