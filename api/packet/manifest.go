package packet

import (
	"bytes"
	"crypto/sha256"
	"encoding/base64"
	"fmt"
	"io"
	"strings"

	"github.com/go-json-experiment/json"
	"github.com/go-json-experiment/json/jsontext"
)

// Format names this way of making packets; another way is another name.
const Format = "lastgood-packet/1"

// The files that every packet has.
const (
	manifestFile   = "manifest.json"
	signatureFile  = "manifest.sig"
	checkpointFile = "checkpoint.txt"
	entriesFile    = "entries.ndjson"
	recordsFile    = "records.json"
)

// About is what a packet is of.
type About struct {
	Format    string `json:"format"`
	Plant     string `json:"plant"`
	Deviation int64  `json:"deviation"`
	MadeAt    string `json:"made_at"` // RFC 3339, UTC
	Redacted  bool   `json:"redacted"`
	// Streams are those of the trail of which the packet has every entry up to
	// one; of others it has some entries.
	Streams []Stream `json:"streams"`
}

// Stream is a stream of the trail of which the packet has all entries.
type Stream struct {
	Name    string `json:"name"`
	Entries int64  `json:"entries"`
}

// manifest says what every file of the packet is.
type manifest struct {
	About
	Files []listed `json:"files"`
}

type listed struct {
	Name   string `json:"name"`
	Size   int    `json:"size"`
	SHA256 []byte `json:"sha256"`
	// Lines has, of a file that is read line by line, the first bytes of each
	// line's SHA-256, so that the line that was altered can be named.
	Lines []byte `json:"lines,omitempty"`
}

const lineCheck = 4 // bytes; only to find the line, the file has a whole digest

func listing(f File) listed {
	d := sha256.Sum256(f.Data)
	return listed{f.Name, len(f.Data), d[:], lineChecks(f)}
}

func lineChecks(f File) (out []byte) {
	if !strings.HasSuffix(f.Name, ".csv") && !strings.HasSuffix(f.Name, ".ndjson") {
		return nil
	}
	for line := range bytes.Lines(f.Data) {
		d := sha256.Sum256(line)
		out = append(out, d[:lineCheck]...)
	}
	return out
}

// signedText is what is signed of a manifest. Its first line is that of no
// checkpoint: neither can pass for the other.
func signedText(manifest []byte) string {
	d := sha256.Sum256(manifest)
	return "lastgood packet\n" + base64.StdEncoding.EncodeToString(d[:]) + "\n"
}

// Contents is what a packet is made of.
type Contents struct {
	About
	Checkpoint []byte // as it was signed
	Entries    []Entry
	Records    []Record
	Files      []File // all others, in order
}

// Write writes the packet, signed by a function that makes a note of a text, and
// returns the SHA-256 of its manifest.
func (c Contents) Write(w io.Writer, sign func(text string) ([]byte, error)) ([]byte, error) {
	c.Format = Format
	entries, err := entryLines(c.Entries)
	if err != nil {
		return nil, err
	}
	records, err := canonical(c.Records)
	if err != nil {
		return nil, fmt.Errorf("packet: records: %w", err)
	}
	files := append([]File{{checkpointFile, c.Checkpoint}, {entriesFile, entries}, {recordsFile, records}}, c.Files...)
	m := manifest{About: c.About}
	for _, f := range files {
		m.Files = append(m.Files, listing(f))
	}
	text, err := canonical(m)
	if err != nil {
		return nil, fmt.Errorf("packet: manifest: %w", err)
	}
	signed, err := sign(signedText(text))
	if err != nil {
		return nil, err
	}
	digest := sha256.Sum256(text)
	return digest[:], writeZip(w, append([]File{{manifestFile, text}, {signatureFile, signed}}, files...))
}

// canonical returns a value as RFC 8785 has it.
func canonical(v any) ([]byte, error) {
	text, err := json.Marshal(v, json.Deterministic(true))
	if err != nil {
		return nil, err
	}
	b := jsontext.Value(text)
	return b, b.Canonicalize()
}

// strict reads a value that must be written as canonical would.
func strict(b []byte, v any) error {
	if err := json.Unmarshal(b, v, json.RejectUnknownMembers(true)); err != nil {
		return err
	}
	again, err := canonical(v)
	if err == nil && !bytes.Equal(again, b) {
		err = fmt.Errorf("it is not written as it would be")
	}
	return err
}
