package packet

import (
	"bytes"
	"fmt"
	"time"

	"github.com/go-json-experiment/json"
	"github.com/go-json-experiment/json/jsontext"
	"golang.org/x/mod/sumdb/tlog"
)

// Entry is an entry of the decision trail with its place and its proof.
type Entry struct {
	Stream string `json:"stream"`
	Seq    int64  `json:"seq"`
	Hash   []byte `json:"hash"`
	// Bytes are those that were hashed; nil: they name somebody, and this is a
	// redacted packet.
	Bytes []byte `json:"bytes,omitempty"`
	// Leaf is its place in the log; nil: it is newer than the checkpoint, and
	// nothing proves it yet.
	Leaf  *int64   `json:"leaf,omitempty"`
	Proof [][]byte `json:"proof,omitempty"` // RFC 6962, 2.1.1
}

func (e Entry) name() string { return fmt.Sprintf("entry %s #%d", e.Stream, e.Seq) }

func entryLines(list []Entry) ([]byte, error) {
	var b bytes.Buffer
	for _, e := range list {
		line, err := canonical(e)
		if err != nil {
			return nil, fmt.Errorf("packet: %s: %w", e.name(), err)
		}
		b.Write(append(line, '\n'))
	}
	return b.Bytes(), nil
}

// said is what the bytes of an entry say, as far as it is checked.
type said struct {
	Stream     string         `json:"stream"`
	Seq        int64          `json:"seq"`
	Prev       []byte         `json:"prev"`
	RecordedAt time.Time      `json:"recorded_at"`
	Actor      string         `json:"actor"`
	Action     string         `json:"action"`
	Subject    string         `json:"subject"`
	Version    int            `json:"version"`
	After      jsontext.Value `json:"after"`
	Reason     string         `json:"reason"`
}

// check checks an entry by itself: its hash, what its bytes say of its place, and
// its way to the root.
func (e Entry) check(size int64, root tlog.Hash) (s said, err error) {
	if len(e.Hash) != tlog.HashSize {
		return s, fmt.Errorf("its hash has not 32 bytes")
	}
	if e.Bytes != nil {
		if h := tlog.RecordHash(e.Bytes); !bytes.Equal(h[:], e.Hash) {
			return s, fmt.Errorf("its bytes are not those that were hashed")
		}
		if err := json.Unmarshal(e.Bytes, &s); err != nil {
			return s, fmt.Errorf("its bytes cannot be read")
		}
		if s.Stream != e.Stream || s.Seq != e.Seq {
			return s, fmt.Errorf("its bytes speak of %s #%d", s.Stream, s.Seq)
		}
	}
	if e.Leaf == nil {
		if len(e.Proof) > 0 {
			return s, fmt.Errorf("its proof is of no leaf")
		}
		return s, nil
	}
	p := make(tlog.RecordProof, len(e.Proof))
	for i, h := range e.Proof {
		if len(h) != tlog.HashSize {
			return s, fmt.Errorf("its proof has a hash that has not 32 bytes")
		}
		p[i] = tlog.Hash(h)
	}
	if *e.Leaf < 0 || *e.Leaf >= size || tlog.CheckRecord(p, size, root, *e.Leaf, tlog.Hash(e.Hash)) != nil {
		return s, fmt.Errorf("its proof does not lead to the root of the checkpoint")
	}
	return s, nil
}
