package packet

import (
	"bytes"
	"cmp"
	"crypto/hmac"
	"crypto/sha256"
	"encoding/hex"
	"slices"
	"strings"
	"unicode"
	"unicode/utf8"

	"github.com/go-json-experiment/json/jsontext"
)

// Redactor replaces names by tokens: the same name by the same token within a
// packet, and by another in another packet. Whoever has the salt and a name can
// show that a token stands for it; nobody else can tell.
type Redactor struct {
	salt  []byte
	names []string // as they stand in texts, the longest first
	token []string
}

// shortest is how long a name is that is looked for in running text. A shorter
// one would be found in every unit and number; it is replaced only where it
// stands alone in a column of names.
const shortest = 3

// NewRedactor returns a redactor of names by a salt that nobody else knows.
func NewRedactor(salt []byte, names []string) *Redactor {
	r := &Redactor{salt: salt}
	type form struct{ text, token string }
	var all []form
	for _, n := range names {
		if utf8.RuneCountInString(n) < shortest {
			continue
		}
		all = append(all, form{n, r.Token(n)})
		if q, err := jsontext.AppendQuote(nil, n); err == nil { // as it stands in JSON
			if in := string(q[1 : len(q)-1]); in != n {
				all = append(all, form{in, r.Token(n)})
			}
		}
	}
	slices.SortFunc(all, func(a, b form) int {
		return cmp.Or(cmp.Compare(len(b.text), len(a.text)), cmp.Compare(a.text, b.text))
	})
	for _, f := range slices.Compact(all) {
		r.names, r.token = append(r.names, f.text), append(r.token, f.token)
	}
	return r
}

// Token returns what stands for a name: a salted digest of it. Nothing stands
// for nothing.
func (r *Redactor) Token(name string) string {
	if name == "" {
		return ""
	}
	h := hmac.New(sha256.New, r.salt)
	h.Write([]byte(name))
	return "redacted-" + hex.EncodeToString(h.Sum(nil)[:8])
}

// Bytes returns a text with the names replaced.
func (r *Redactor) Bytes(b []byte) []byte {
	for i, n := range r.names {
		if bytes.Contains(b, []byte(n)) {
			b = replaceWord(b, n, r.token[i])
		}
	}
	return b
}

// Text is Bytes for strings.
func (r *Redactor) Text(s string) string { return string(r.Bytes([]byte(s))) }

// Names says whether a text has a name in it.
func (r *Redactor) Names(b []byte) bool {
	return slices.ContainsFunc(r.names, func(n string) bool { return wordAt(b, n) >= 0 })
}

func replaceWord(b []byte, word, token string) []byte {
	var out []byte
	for {
		i := wordAt(b, word)
		if i < 0 {
			return append(out, b...)
		}
		out = append(append(out, b[:i]...), token...)
		b = b[i+len(word):]
	}
}

// wordAt returns where a word stands that is not a part of a longer one, −1 if
// nowhere.
func wordAt(b []byte, word string) int {
	for from := 0; ; {
		i := bytes.Index(b[from:], []byte(word))
		if i < 0 {
			return -1
		}
		i += from
		before, _ := utf8.DecodeLastRune(b[:i])
		after, _ := utf8.DecodeRune(b[i+len(word):])
		if !letter(before) && !letter(after) {
			return i
		}
		from = i + 1
	}
}

func letter(r rune) bool { return r != utf8.RuneError && (unicode.IsLetter(r) || unicode.IsDigit(r)) }

// Column says whether a column of a table has names of people or consignees: then
// its cells are replaced whole.
func Column(name string) bool {
	return name == "by" || strings.HasSuffix(name, "_by") ||
		slices.Contains([]string{"consignee", "receiver", "person", "printed_name", "title", "acts_for", "who", "contact"}, name)
}

// Record hides what names somebody in a record: its body becomes its digest
// alone, and signers become tokens.
func (r *Redactor) Record(rec Record) Record {
	if r.Names(rec.Body) {
		rec.Body = nil
	}
	rec.MadeBy, rec.Reason = r.Token(rec.MadeBy), r.Text(rec.Reason)
	rec.Signatures = slices.Clone(rec.Signatures)
	for i, s := range rec.Signatures {
		s.Person, s.Name, s.Title, s.Note = r.Token(s.Person), r.Token(s.Name), r.Token(s.Title), r.Text(s.Note)
		s.Qualification = r.Text(s.Qualification)
		s.For = slices.Clone(s.For)
		for j := range s.For {
			s.For[j] = r.Token(s.For[j])
		}
		rec.Signatures[i] = s
	}
	return rec
}

// Entry hides an entry that a person made or that names somebody: it becomes its
// hash alone, and its place and proof stay.
func (r *Redactor) Entry(e Entry, person bool) Entry {
	if person || r.Names(e.Bytes) {
		e.Bytes = nil
	}
	return e
}
