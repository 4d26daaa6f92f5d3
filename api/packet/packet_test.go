package packet

import (
	"bytes"
	"crypto/sha256"
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/go-json-experiment/json"
	"golang.org/x/mod/sumdb/tlog"

	"lastgood/workflow/trail/checkpoint"
)

// small is a packet of three entries of one stream, of which the second is a
// signature of the one record.
func small(t *testing.T, key *checkpoint.Key) Contents {
	t.Helper()
	at := time.Date(2026, 3, 4, 6, 0, 0, 0, time.UTC)
	body := []byte(`{"id":1,"kind":"disposition","what":{"lot":"L-1"}}`)
	digest := sha256.Sum256(body)
	after := func(i int) any {
		if i != 2 {
			return map[string]any{"n": i}
		}
		return applied{digest[:], "qa_lead", "proposes this", "A. B. Sample", "QA lead", "", nil, at}
	}
	c := Contents{About: About{Plant: "Alder Hill", Deviation: 7, MadeAt: Moment(at), Streams: []Stream{{"deviation/7", 3}}},
		Records: []Record{{Kind: "disposition", ID: 1, Version: 1, SHA256: digest[:], Body: body, MadeAt: Moment(at), MadeBy: "lead-1",
			Signatures: []Signature{{"lead-1", "A. B. Sample", "QA lead", "qa_lead", "proposes this", "", []string{}, "", Moment(at), Moment(at)}}}}}
	var stored []tlog.Hash
	r := tlog.HashReaderFunc(func(at []int64) ([]tlog.Hash, error) {
		out := make([]tlog.Hash, len(at))
		for i, n := range at {
			out[i] = stored[n]
		}
		return out, nil
	})
	prev := make([]byte, tlog.HashSize)
	for i := 1; i <= 3; i++ {
		action, subject := "counted", ""
		if i == 2 {
			action, subject = "signature.applied", "disposition 1"
		}
		text, err := json.Marshal(map[string]any{"stream": "deviation/7", "seq": i, "prev": prev, "recorded_at": at, "actor": "lead-1", "action": action,
			"subject": subject, "version": 1, "after": after(i)}, json.Deterministic(true))
		if err != nil {
			t.Fatal(err)
		}
		more, err := tlog.StoredHashes(int64(i-1), text, r)
		if err != nil {
			t.Fatal(err)
		}
		stored = append(stored, more...)
		h, leaf := tlog.RecordHash(text), int64(i-1)
		prev = h[:]
		c.Entries = append(c.Entries, Entry{Stream: "deviation/7", Seq: int64(i), Hash: prev, Bytes: text, Leaf: &leaf})
	}
	root, err := tlog.TreeHash(3, r)
	if err != nil {
		t.Fatal(err)
	}
	for i := range c.Entries {
		p, err := tlog.ProveRecord(3, int64(i), r)
		if err != nil {
			t.Fatal(err)
		}
		for _, h := range p {
			c.Entries[i].Proof = append(c.Entries[i].Proof, h[:])
		}
	}
	if c.Checkpoint, err = (checkpoint.Checkpoint{Origin: checkpoint.Origin("Alder Hill", 0), Size: 3, Root: root}).Sign(key); err != nil {
		t.Fatal(err)
	}
	c.Files = []File{{"evidence/" + fmt.Sprintf("%x", sha256.Sum256([]byte("paper"))), []byte("paper")}}
	return c
}

func written(t *testing.T, c Contents, key *checkpoint.Key) []byte {
	t.Helper()
	var b bytes.Buffer
	if _, err := c.Write(&b, func(text string) ([]byte, error) { return checkpoint.SignText(text, key) }); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

// Even whoever has the key cannot make a packet that says something else than the
// log: what is wrong in it is named, record by record.
func TestPacketAgreesWithTheLogAndItself(t *testing.T) {
	t.Parallel()
	key, err := checkpoint.NewKey()
	if err != nil {
		t.Fatal(err)
	}
	if r := Verify(written(t, small(t, key), key), key.Verifier()); len(r.Wrong) > 0 || r.Entries != 3 || r.Signatures != 1 || len(r.Unproven) != 0 {
		t.Fatalf("%+v", r)
	}
	for name, c := range map[string]struct {
		change func(*Contents)
		says   string
	}{
		"entry's bytes": {func(c *Contents) {
			c.Entries[1].Bytes = bytes.Replace(c.Entries[1].Bytes, []byte("lead-1"), []byte("lead-2"), 1)
		}, "entries.ndjson: entry deviation/7 #2: its bytes are not those that were hashed"},
		"entry's hash too": {func(c *Contents) { forge(&c.Entries[1]) }, "entries.ndjson: entry deviation/7 #2: its proof does not lead to the root of the checkpoint"},
		"bound":            {func(c *Contents) { forge(&c.Entries[1]); c.Entries[1].Leaf, c.Entries[1].Proof = nil, nil }, "entries.ndjson: entry deviation/7 #3: it is not bound to the entry before it"},
		"left out":         {func(c *Contents) { c.Entries = slices.Delete(c.Entries, 0, 1) }, "entries.ndjson: entry deviation/7 #2: an entry before it is missing"},
		"end left out":     {func(c *Contents) { c.Entries = c.Entries[:2] }, "entries.ndjson: stream deviation/7 has 2 entries in one chain, and 3 were to be there"},
		"order":            {func(c *Contents) { slices.Reverse(c.Entries) }, "entries.ndjson: entry deviation/7 #2: it is out of order"},
		"proof":            {func(c *Contents) { c.Entries[0].Proof[0][5] ^= 1 }, "entries.ndjson: entry deviation/7 #1: its proof does not lead to the root of the checkpoint"},
		"another plant":    {func(c *Contents) { c.Plant = "Beech Hill" }, "checkpoint.txt: it is of lastgood/Alder%20Hill, not of plant Beech Hill"},
		"body":             {func(c *Contents) { c.Records[0].Body = []byte(`{"id":1,"kind":"disposition"}`) }, "records.json: record disposition 1 version 1: its body is not that of its digest"},
		"body and digest": {func(c *Contents) {
			c.Records[0].Body = []byte(`{"id":1,"kind":"disposition"}`)
			d := sha256.Sum256(c.Records[0].Body)
			c.Records[0].SHA256 = d[:]
		}, "records.json: record disposition 1 version 1: the trail (deviation/7 #2) says that something else was signed"},
		"who signed":        {func(c *Contents) { c.Records[0].Signatures[0].Name = "C. D. Sample" }, "records.json: record disposition 1 version 1: the signature of lead-1 is not the one that the trail tells of"},
		"nobody signed":     {func(c *Contents) { c.Records[0].Signatures = nil }, "records.json: record disposition 1 version 1: the signature of lead-1 is missing"},
		"another signed":    {func(c *Contents) { c.Records[0].Signatures[0].Person = "lead-2" }, "records.json: record disposition 1 version 1: the trail knows of no signature by lead-2"},
		"record left out":   {func(c *Contents) { c.Records = []Record{} }, "records.json: disposition 1 version 1, which lead-1 signed, is missing"},
		"evidence":          {func(c *Contents) { c.Files[0].Data = []byte("other") }, "evidence/"},
		"evidence's digest": {func(c *Contents) { c.Files[0].Name = "evidence/00" }, "evidence/00: its bytes are not those of its digest"},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			p := small(t, key)
			c.change(&p)
			r := Verify(written(t, p, key), key.Verifier())
			if !slices.ContainsFunc(r.Wrong, func(w string) bool { return strings.HasPrefix(w, c.says) }) {
				t.Errorf("%q, want %q", r.Wrong, c.says)
			}
		})
	}
}

func forge(e *Entry) {
	e.Bytes = bytes.Replace(e.Bytes, []byte("lead-1"), []byte("lead-2"), 1)
	h := tlog.RecordHash(e.Bytes)
	e.Hash = h[:]
}

// An entry of which only the hash is there is proven like any other.
func TestHiddenEntryIsProven(t *testing.T) {
	t.Parallel()
	key, err := checkpoint.NewKey()
	if err != nil {
		t.Fatal(err)
	}
	c := small(t, key)
	r := NewRedactor([]byte("salt"), []string{"A. B. Sample", "lead-1"})
	c.Redacted = true
	for i := range c.Entries {
		c.Entries[i] = r.Entry(c.Entries[i], false)
	}
	c.Records[0] = r.Record(c.Records[0])
	b := written(t, c, key)
	if v := Verify(b, key.Verifier()); len(v.Wrong) > 0 || v.Hidden != 3 {
		t.Errorf("%+v", v)
	}
	if bytes.Contains(b, []byte("lead-1")) || bytes.Contains(b, []byte("Sample")) {
		t.Error("it names somebody")
	}
	c.Entries[1].Hash[3] ^= 1
	if v := Verify(written(t, c, key), key.Verifier()); len(v.Wrong) == 0 {
		t.Error("another hash is proven too")
	}
}

func TestNamesAreReplacedAsWords(t *testing.T) {
	t.Parallel()
	r := NewRedactor([]byte("salt"), []string{"ann", "ann bell", `the "Quay"`, "C", "sam-1"})
	for text, want := range map[string]string{
		"ann, annex, Hann":     r.Token("ann") + ", annex, Hann",
		"ann bell":             r.Token("ann bell"),
		`{"a":"the \"Quay\""}`: `{"a":"` + r.Token(`the "Quay"`) + `"}`,
		"72 C":                 "72 C",
		"sam-1/sam-12":         r.Token("sam-1") + "/sam-12",
	} {
		if got := r.Text(text); got != want {
			t.Errorf("%q becomes %q, want %q", text, got, want)
		}
	}
	if other := NewRedactor([]byte("other"), nil); other.Token("ann") == r.Token("ann") || r.Token("") != "" {
		t.Error("tokens do not depend on the salt")
	}
}

func FuzzVerify(f *testing.F) {
	key, err := checkpoint.NewKey()
	if err != nil {
		f.Fatal(err)
	}
	f.Add([]byte("PK\x05\x06"))
	f.Add(endRecord(0, 0, 0))
	f.Fuzz(func(t *testing.T, b []byte) {
		if r := Verify(b, key.Verifier()); len(r.Wrong) == 0 {
			t.Error("taken for a packet")
		}
	})
}
