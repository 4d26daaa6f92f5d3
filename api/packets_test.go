package api

import (
	"archive/zip"
	"bytes"
	"encoding/hex"
	"io"
	"slices"
	"strings"
	"testing"

	"github.com/go-json-experiment/json"
	"golang.org/x/mod/sumdb/note"
	"golang.org/x/mod/sumdb/tlog"

	"lastgood/api/packet"
	"lastgood/policy/disposition"
	"lastgood/workflow/trail/checkpoint"
)

// packed is a plant with a deviation in which people have signed, and its packets.
type packed struct {
	*chicago
	key             *checkpoint.Key
	whole, redacted []byte
}

func newPacked(t *testing.T) *packed {
	t.Helper()
	c := inChicago(t, "2026-11-19T10:00:00-06:00", "")
	k, err := checkpoint.NewKey()
	c.must(err)
	const at = "/v1/deviations/1/packet"
	res, body := c.call("POST", at, "")
	c.refused(res, body, 409, "no-key")
	c.svc.SignWith(k)
	who := c.people(disposition.QALead, disposition.PlantManager, disposition.RegulatoryLiaison)
	liaison := who["regulatory_liaison"]
	pack := `{"retrieve":true,"reason":"the limit may have been missed","kind":"recall","depth":"retail","public_warning":"none","discovery":"a check","contact":"the liaison",
		"text":"Stop distribution.","effectiveness_level":"C","hazard_evaluation":{"illness":"none known","conditions":"none known","groups":"the elderly",
		"seriousness":"serious","likelihood":"possible","consequences":"illness"}}`
	c.signed(liaison.answers("POST", "/v1/deviations/1/recall", pack, 201), who)
	p := &packed{chicago: c, key: k}
	p.whole = []byte(c.answers("POST", at, "", 200))
	p.redacted = []byte(c.answers("POST", at+"?redacted=true", "", 200))
	return p
}

func (p *packed) unzip(b []byte) (names []string, files map[string][]byte) {
	p.t.Helper()
	z, err := zip.NewReader(bytes.NewReader(b), int64(len(b)))
	p.must(err)
	files = map[string][]byte{}
	for _, f := range z.File {
		r, err := f.Open()
		p.must(err)
		data, err := io.ReadAll(r)
		p.must(err)
		names, files[f.Name] = append(names, f.Name), data
	}
	return names, files
}

// What an inspector is handed is whole: any program opens it, its proofs hold
// with the public key alone, and it has what it says.
func TestPacketIsWholeAndProvesItself(t *testing.T) {
	t.Parallel()
	p := newPacked(t)
	r := packet.Verify(p.whole, p.key.Verifier())
	if len(r.Wrong) > 0 || r.Deviation != 1 || r.Plant != "Tallow Mere Kitchens" || r.Redacted || len(r.Unproven) > 0 {
		t.Fatalf("%+v", r)
	}
	if r.Signatures < 2 || r.Records < 1 || r.Entries < 10 || r.Hidden != 0 {
		t.Errorf("%+v", r)
	}
	names, files := p.unzip(p.whole)
	if want := []string{"manifest.json", "manifest.sig", "checkpoint.txt", "entries.ndjson", "records.json"}; !slices.Equal(names[:5], want) {
		t.Errorf("%v", names)
	}
	for _, name := range []string{"policy-1.yaml", "run-1.json", "readings.csv", "report.pdf", "NOT-INCLUDED.txt", "sections/signatures.csv", "sections/checks.csv",
		"sections/holds.csv", "sections/recall.csv", "sections/changes.csv", "sections/trail.csv"} {
		if len(files[name]) == 0 {
			t.Errorf("%s is missing or empty", name)
		}
	}
	if !slices.ContainsFunc(names, func(n string) bool {
		return strings.HasPrefix(n, "evidence/") && string(files[n]) == "Stop distribution."
	}) {
		t.Errorf("the text of the notice is not among %v", names)
	}
	for name, has := range map[string]string{"readings.csv": "L-1,cook-core,", "sections/shipped.csv": "North Quay Deli", "sections/signatures.csv": "Person plant_manager",
		"NOT-INCLUDED.txt": "none in this packet", "run-1.json": `"run":1`} {
		if !bytes.Contains(files[name], []byte(has)) {
			t.Errorf("%s does not have %q:\n%s", name, has, files[name])
		}
	}
	other, err := checkpoint.NewKey()
	p.must(err)
	if r := packet.Verify(p.whole, other.Verifier()); len(r.Wrong) != 1 || !strings.HasPrefix(r.Wrong[0], "manifest.sig: ") {
		t.Errorf("with another's key: %v", r.Wrong)
	}
	if !p.trailSays("packet.made") {
		t.Error("that a packet was made is not recorded")
	}
}

// trailSays says whether the administration's stream has an action.
func (p *packed) trailSays(action string) bool {
	p.t.Helper()
	var list Page[TrailEntry]
	if err := json.Unmarshal([]byte(p.answers("GET", "/v1/trail?stream=administration&limit=100", "", 200)), &list); err != nil {
		p.t.Fatal(err)
	}
	return slices.ContainsFunc(list.Items, func(e TrailEntry) bool { return bytes.Contains(e.Bytes, []byte(action)) })
}

// Whoever changes any one byte is found out, and the file that it lies in, or
// the header that it is a part of, is named (design notes on signing, E-037 and
// N-12).
func TestAnyByteThatIsAlteredIsNamed(t *testing.T) {
	t.Parallel()
	p := newPacked(t)
	names, files := p.unzip(p.whole)
	at := 0
	for _, name := range names {
		header, data := at, at+30+len(name)
		at = data + len(files[name])
		step := 1 + len(files[name])/40
		for i := header; i < at; i++ {
			if i > data && i != at-1 && (i-data)%step != 0 {
				continue
			}
			b := bytes.Clone(p.whole)
			b[i] ^= 1
			r := packet.Verify(b, p.key.Verifier())
			if len(r.Wrong) == 0 {
				t.Errorf("%s: byte %d of %d changed, and nothing is wrong", name, i-data, len(files[name]))
			} else if !slices.ContainsFunc(r.Wrong, func(w string) bool { return strings.Contains(w, name) }) {
				t.Errorf("%s: byte %d changed, and it says %v", name, i-data, r.Wrong)
			}
		}
	}
	for i := at; i < len(p.whole); i++ { // the directory and the end
		b := bytes.Clone(p.whole)
		b[i] ^= 1
		if r := packet.Verify(b, p.key.Verifier()); len(r.Wrong) == 0 || !strings.HasPrefix(r.Wrong[0], "zip: ") {
			t.Errorf("byte %d of the directory changed: %v", i-at, r.Wrong)
		}
	}
	for _, n := range []int{0, 1, 21, 22, at, len(p.whole) - 1} {
		if r := packet.Verify(p.whole[:n], p.key.Verifier()); len(r.Wrong) == 0 {
			t.Errorf("cut off after %d bytes, and nothing is wrong", n)
		}
	}
	if r := packet.Verify(append(bytes.Clone(p.whole), 0), p.key.Verifier()); len(r.Wrong) == 0 {
		t.Error("a byte was added, and nothing is wrong")
	}
}

// A redacted packet names nobody, its proofs hold, and it says what it no longer
// proves.
func TestRedactedPacketNamesNobody(t *testing.T) {
	t.Parallel()
	p := newPacked(t)
	r := packet.Verify(p.redacted, p.key.Verifier())
	if len(r.Wrong) > 0 || !r.Redacted || r.Hidden == 0 {
		t.Fatalf("%+v", r)
	}
	names, files := p.unzip(p.redacted)
	for _, name := range names {
		if name == "report.pdf" { // compressed; it is drawn from the tables beside it
			continue
		}
		for _, who := range []string{"North Quay Deli", "Person plant_manager", "tech-1", "tech-2", "tester"} {
			if bytes.Contains(files[name], []byte(who)) {
				t.Errorf("%s names %s", name, who)
			}
		}
	}
	if !bytes.Contains(files["NOT-INCLUDED.txt"], []byte("Who signed is not proven")) {
		t.Error("it does not say what it no longer proves")
	}
	if !bytes.Contains(files["sections/shipped.csv"], []byte("redacted-")) {
		t.Errorf("%s", files["sections/shipped.csv"])
	}
	for line := range bytes.Lines(files["entries.ndjson"]) {
		var e packet.Entry
		p.must(json.Unmarshal(line, &e))
		if e.Bytes == nil && (len(e.Hash) != tlog.HashSize || e.Leaf == nil) {
			t.Errorf("%s: a hidden entry is to be proven by its hash", line)
		}
	}
}

func TestCheckpointOverHTTP(t *testing.T) {
	t.Parallel()
	p := newPacked(t)
	var c CheckpointBody
	p.must(json.Unmarshal([]byte(p.answers("GET", "/v1/checkpoint", "", 200)), &c))
	signed, err := checkpoint.Open([]byte(c.Note), p.key.Verifier())
	if err != nil || signed.Size != c.Size || signed.Origin != c.Origin || !bytes.Equal(signed.Root[:], c.Root) || c.Key != p.key.String() {
		t.Errorf("%+v, %v", c, err)
	}
	if _, err := note.NewVerifier(c.Key); err != nil {
		t.Error(err)
	}
	var e EntryProofBody
	p.must(json.Unmarshal([]byte(p.answers("GET", "/v1/checkpoint/proof?entry=1", "", 200)), &e))
	if err := tlog.CheckRecord(treeHashes(e.Proof), e.Checkpoint.Size, signed.Root, e.Leaf, tlog.RecordHash(e.Bytes)); err != nil {
		t.Error(err)
	}
	var x ExtensionBody
	p.must(json.Unmarshal([]byte(p.answers("GET", "/v1/checkpoint/consistency?from=3", "", 200)), &x))
	if err := tlog.CheckTree(tlog.TreeProof(treeHashes(x.Proof)), x.To, tlog.Hash(x.ToRoot), x.From, tlog.Hash(x.FromRoot)); err != nil || hex.EncodeToString(x.ToRoot) != hex.EncodeToString(c.Root) {
		t.Errorf("%+v: %v", x, err)
	}
	res, body := p.call("GET", "/v1/checkpoint/consistency?from=100000", "")
	p.refused(res, body, 422, "out-of-range")
	res, body = p.call("GET", "/v1/checkpoint/proof?entry=100000", "")
	p.refused(res, body, 404, "unknown-entry")
	var s TrailState
	p.must(json.Unmarshal([]byte(p.answers("GET", "/v1/trail/verification", "", 200)), &s))
	if !s.Intact || s.InLine != 1 { // that the second packet was made stands in line
		t.Errorf("%+v", s)
	}
}

func treeHashes(list [][]byte) tlog.RecordProof {
	out := make(tlog.RecordProof, len(list))
	for i, h := range list {
		out[i] = tlog.Hash(h)
	}
	return out
}

// A server whose log has gone back answers, and writes nothing.
func TestNothingIsWrittenWhileTheLogHasGoneBack(t *testing.T) {
	t.Parallel()
	p := newCase(t)
	p.svc.OnlyRead("plant X: the log has 2 entries and had 5")
	res, body := p.call("POST", "/v1/lots", `{"items":[{"lot":"L-9"}]}`)
	if doc := p.refused(res, body, 503, "log-regressed"); !strings.Contains(doc.Detail, "the log has 2 entries and had 5") {
		t.Error(doc.Detail)
	}
	p.answers("GET", "/v1/deviations/1", "", 200)
}
