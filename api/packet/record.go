package packet

import (
	"bytes"
	"crypto/sha256"
	"fmt"
	"reflect"
	"time"

	"github.com/go-json-experiment/json"
)

// Record is one version of something that people signed.
type Record struct {
	Kind    string `json:"kind"`
	ID      int64  `json:"id"`
	Version int    `json:"version"`
	SHA256  []byte `json:"sha256"`
	// Body is canonical JSON, exactly as it was digested; nil: it names somebody,
	// and this is a redacted packet.
	Body       []byte      `json:"body,omitempty"`
	Run        int         `json:"run,omitzero"`    // that it rests on
	Policy     int         `json:"policy,omitzero"` // version
	MadeAt     string      `json:"made_at"`
	MadeBy     string      `json:"made_by"`
	Reason     string      `json:"reason"` // of the new version
	Signatures []Signature `json:"signatures"`
}

// Signature is one that was given to a version of a record.
type Signature struct {
	Person          string   `json:"person"`
	Name            string   `json:"printed_name"`
	Title           string   `json:"title"`
	Role            string   `json:"role"`
	Meaning         string   `json:"meaning"`
	Qualification   string   `json:"qualification"`
	For             []string `json:"acts_for"`
	Note            string   `json:"note"`
	SignedAt        string   `json:"signed_at"`
	AuthenticatedAt string   `json:"authenticated_at"`
}

func (r Record) name() string { return fmt.Sprintf("record %s %d version %d", r.Kind, r.ID, r.Version) }

// Moment is how times are written in a packet: RFC 3339, UTC, microseconds.
func Moment(t time.Time) string { return t.UTC().Format("2006-01-02T15:04:05.999999Z07:00") }

// applied is what an entry "signature.applied" says of a signature.
type applied struct {
	SHA256          []byte    `json:"record_sha256"`
	Role            string    `json:"role"`
	Meaning         string    `json:"meaning"`
	Name            string    `json:"printed_name"`
	Title           string    `json:"title"`
	Qualification   string    `json:"qualification"`
	For             []string  `json:"acts_for"`
	AuthenticatedAt time.Time `json:"authenticated_at"`
}

func (s said) signature() (digest []byte, out Signature, err error) {
	var a applied
	if err := json.Unmarshal(s.After, &a); err != nil {
		return nil, out, err
	}
	return a.SHA256, Signature{s.Actor, a.Name, a.Title, a.Role, a.Meaning, a.Qualification, a.For, s.Reason, Moment(s.RecordedAt), Moment(a.AuthenticatedAt)}, nil
}

// checkBody checks that the digest is that of the body and that the body speaks
// of the record.
func (r Record) checkBody() error {
	if r.Body == nil {
		return nil
	}
	d := sha256.Sum256(r.Body)
	if !bytes.Equal(d[:], r.SHA256) {
		return fmt.Errorf("its body is not that of its digest")
	}
	var b struct {
		Kind string `json:"kind"`
		ID   int64  `json:"id"`
	}
	if err := json.Unmarshal(r.Body, &b); err != nil || b.Kind != r.Kind || b.ID != r.ID {
		return fmt.Errorf("its body is not that of %s %d", r.Kind, r.ID)
	}
	return nil
}

// checkSigned checks that the signatures of a record are exactly those that the
// trail tells of.
func (r Record) checkSigned(trail []said) error {
	told := map[string]Signature{}
	for _, s := range trail {
		if s.Action != "signature.applied" || s.Subject != fmt.Sprintf("%s %d", r.Kind, r.ID) || s.Version != r.Version {
			continue
		}
		digest, sig, err := s.signature()
		if err != nil || !bytes.Equal(digest, r.SHA256) {
			return fmt.Errorf("the trail (%s #%d) says that something else was signed", s.Stream, s.Seq)
		}
		told[sig.Person] = sig
	}
	for _, sig := range r.Signatures {
		t, ok := told[sig.Person]
		if !ok {
			return fmt.Errorf("the trail knows of no signature by %s", sig.Person)
		}
		if len(t.For) == 0 && len(sig.For) == 0 {
			t.For, sig.For = nil, nil
		}
		if !reflect.DeepEqual(t, sig) {
			return fmt.Errorf("the signature of %s is not the one that the trail tells of", sig.Person)
		}
		delete(told, sig.Person)
	}
	for who := range told {
		return fmt.Errorf("the signature of %s is missing", who)
	}
	return nil
}
