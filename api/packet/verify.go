package packet

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"hash/crc32"
	"slices"
	"strings"

	"github.com/go-json-experiment/json"
	"golang.org/x/mod/sumdb/note"

	"lastgood/workflow/trail/checkpoint"
)

// Result is what checking a packet found.
type Result struct {
	About
	Checkpoint checkpoint.Checkpoint
	Entries    int
	Unproven   []string // entries that are newer than the checkpoint
	Hidden     int      // entries and records of which a redacted packet has only the hash
	Records    int
	Signatures int
	Files      int
	Wrong      []string // what is wrong, each naming the file and what in it; empty: nothing
}

// verifier is a packet being checked.
type verifier struct {
	Result
	key   note.Verifier
	files map[string][]byte
	m     manifest
	said  []said // of entries whose bytes are there
}

func (v *verifier) wrong(format string, args ...any) {
	v.Wrong = append(v.Wrong, fmt.Sprintf(format, args...))
}

// Verify checks a packet with the public key of whoever made it: that every byte
// is the one that was signed, that entries are bound to one another and to the
// checkpoint, and that what people signed is what the trail says that they
// signed. It needs nothing else.
func Verify(packet []byte, key note.Verifier) Result {
	v := &verifier{key: key, files: map[string][]byte{}}
	list, err := readZip(packet)
	if err != nil {
		v.wrong("%v", err)
	}
	for _, f := range list {
		v.files[f.Name] = f.Data
	}
	v.Files = len(list)
	if !v.readManifest() {
		return v.Result
	}
	v.checkFiles(list, err == nil)
	v.checkTrail()
	v.checkRecords()
	v.checkNamed()
	return v.Result
}

// readManifest opens what says what all the rest has to be. Without it there is
// nothing to check by.
func (v *verifier) readManifest() bool {
	text, err := checkpoint.OpenNote(v.files[signatureFile], v.key)
	if err != nil {
		v.wrong("%s: %v", signatureFile, err)
		return false
	}
	if text != signedText(v.files[manifestFile]) {
		v.wrong("%s: it is not what was signed", manifestFile)
		return false
	}
	if err := strict(v.files[manifestFile], &v.m); err != nil {
		v.wrong("%s: %v", manifestFile, err)
		return false
	}
	if v.m.Format != Format {
		v.wrong("%s: this reads %s, and the packet is %s", manifestFile, Format, v.m.Format)
		return false
	}
	v.About = v.m.About
	return true
}

// checkFiles compares every file with the manifest.
func (v *verifier) checkFiles(list []stored, whole bool) {
	var order []string
	for _, f := range list {
		order = append(order, f.Name)
		if f.crc != crc32.ChecksumIEEE(f.Data) {
			v.wrong("%s: its bytes, or its checksum in the zip, were altered", f.Name)
		}
	}
	want := []string{manifestFile, signatureFile}
	for _, l := range v.m.Files {
		want = append(want, l.Name)
		data, there := v.files[l.Name]
		d := sha256.Sum256(data)
		switch {
		case !there:
			v.wrong("%s: it is missing", l.Name)
		case !bytes.Equal(d[:], l.SHA256):
			v.wrong("%s: %s", l.Name, l.where(data))
		}
	}
	if whole && !slices.Equal(order, want) {
		v.wrong("zip: the files are not those of the manifest, in its order")
	}
}

// where says what of a file was altered.
func (l listed) where(data []byte) string {
	if len(l.Lines) == 0 {
		return "its bytes were altered"
	}
	now := lineChecks(File{l.Name, data})
	for i := 0; i < len(l.Lines) && i < len(now); i += lineCheck {
		if !bytes.Equal(l.Lines[i:i+lineCheck], now[i:i+lineCheck]) {
			return fmt.Sprintf("line %d was altered", i/lineCheck+1)
		}
	}
	return "lines were added or taken away at its end"
}

// checkTrail checks the entries: each by itself, and those of a stream in their
// chain.
func (v *verifier) checkTrail() {
	c, err := checkpoint.Open(v.files[checkpointFile], v.key)
	if err != nil {
		v.wrong("%s: %v", checkpointFile, err)
		return
	}
	v.Checkpoint = c
	if plant, _, ok := checkpoint.PlantOf(c.Origin); !ok || plant != v.Plant {
		v.wrong("%s: it is of %s, not of plant %s", checkpointFile, c.Origin, v.Plant)
	}
	have := map[string]int64{}
	var last Entry
	n := 0
	for line := range bytes.Lines(v.files[entriesFile]) {
		n++
		var e Entry
		if err := strict(bytes.TrimSuffix(line, []byte("\n")), &e); err != nil {
			v.wrong("%s: line %d cannot be read as an entry", entriesFile, n)
			continue
		}
		s, err := e.check(c.Size, c.Root)
		if err == nil {
			err = v.follows(last, e, s)
		}
		if err != nil {
			v.wrong("%s: %s: %v", entriesFile, e.name(), err)
		}
		if last.Stream != e.Stream || last.Seq+1 == e.Seq {
			have[e.Stream]++
		}
		last = e
		v.Entries++
		if e.Leaf == nil {
			v.Unproven = append(v.Unproven, e.name())
		}
		if e.Bytes != nil {
			v.said = append(v.said, s)
		} else {
			v.Hidden++
		}
	}
	for _, s := range v.Streams {
		if have[s.Name] != s.Entries {
			v.wrong("%s: stream %s has %d entries in one chain, and %d were to be there", entriesFile, s.Name, have[s.Name], s.Entries)
		}
	}
}

// follows checks that an entry stands after the one before it in the packet.
func (v *verifier) follows(last, e Entry, s said) error {
	same := last.Stream == e.Stream
	whole := slices.ContainsFunc(v.Streams, func(s Stream) bool { return s.Name == e.Stream })
	switch {
	case strings.Compare(e.Stream, last.Stream) < 0 || same && e.Seq <= last.Seq:
		return fmt.Errorf("it is out of order")
	case whole && !same && e.Seq != 1, whole && same && e.Seq != last.Seq+1:
		return fmt.Errorf("an entry before it is missing")
	case e.Bytes == nil:
		return nil // what it is bound to stands in the bytes
	case !same && e.Seq == 1 && !bytes.Equal(s.Prev, make([]byte, sha256.Size)):
		return fmt.Errorf("it is bound to an entry before the first")
	case same && e.Seq == last.Seq+1 && !bytes.Equal(s.Prev, last.Hash):
		return fmt.Errorf("it is not bound to the entry before it")
	}
	return nil
}

// checkRecords checks what people signed. In a redacted packet the entries that
// tell who signed are hidden, and only the digests are compared.
func (v *verifier) checkRecords() {
	var list []Record
	if err := strict(v.files[recordsFile], &list); err != nil {
		v.wrong("%s: it cannot be read", recordsFile)
		return
	}
	for _, r := range list {
		v.Records++
		v.Signatures += len(r.Signatures)
		if r.Body == nil {
			v.Hidden++
		}
		err := r.checkBody()
		if err == nil && !v.Redacted {
			err = r.checkSigned(v.said)
		}
		if err != nil {
			v.wrong("%s: %s: %v", recordsFile, r.name(), err)
		}
	}
	if v.Redacted {
		return
	}
	for _, s := range v.said { // and none of those that the trail tells of was left out
		known := slices.ContainsFunc(list, func(r Record) bool {
			return s.Subject == fmt.Sprintf("%s %d", r.Kind, r.ID) && s.Version == r.Version
		})
		if s.Action == "signature.applied" && !known && s.Stream == fmt.Sprintf("deviation/%d", v.Deviation) {
			v.wrong("%s: %s version %d, which %s signed, is missing", recordsFile, s.Subject, s.Version, s.Actor)
		}
	}
}

// checkNamed checks files whose content the trail or their own name vouches for.
func (v *verifier) checkNamed() {
	for _, f := range v.m.Files {
		name, d := f.Name, sha256.Sum256(v.files[f.Name])
		if digest, ok := strings.CutPrefix(name, "evidence/"); ok && digest != hex.EncodeToString(d[:]) {
			v.wrong("%s: its bytes are not those of its digest", name)
		}
	}
	for _, s := range v.said {
		var after struct {
			Policy []byte `json:"sha256"`
			Input  []byte `json:"input_sha256"`
		}
		if json.Unmarshal(s.After, &after) != nil {
			continue
		}
		switch s.Action {
		case "policy.put_in_force":
			text, there := v.files[fmt.Sprintf("policy-%d.yaml", s.Version)]
			if d := sha256.Sum256(text); there && !bytes.Equal(d[:], after.Policy) {
				v.wrong("policy-%d.yaml: it is not what was put in force (%s #%d)", s.Version, s.Stream, s.Seq)
			}
		case "trace.stored":
			if s.Stream == fmt.Sprintf("deviation/%d", v.Deviation) {
				v.checkRun(fmt.Sprintf("run-%d.json", s.Version), after.Input)
			}
		}
	}
}

// checkRun checks that a run rests on the evidence that the trail says it rested
// on.
func (v *verifier) checkRun(name string, input []byte) {
	var run struct {
		Input []byte `json:"input_digest"`
	}
	text, there := v.files[name]
	switch {
	case !there:
		v.wrong("%s: the trail tells of it, and it is missing", name)
	case json.Unmarshal(text, &run) != nil || !bytes.Equal(run.Input, input):
		v.wrong("%s: it is not the run that the trail tells of", name)
	}
}
