//go:build linux

package scenarios

import (
	"bytes"
	"encoding/json"
	"io"
	"net/http"
	"net/url"
)

// problem is a problem document, and what it came from.
type problem struct {
	Rule    string
	Errors  []struct{ Rule, Detail, Location string }
	Reasons []struct{ Code, Detail string }

	said line
	text string
}

// rules are all that the document names.
func (p *problem) rules() []string {
	out := []string{p.Rule}
	for _, e := range p.Errors {
		out = append(out, e.Rule)
	}
	return out
}

// unexpected ends the story: a line was refused and nothing expected that.
func (s *story) unexpected() {
	s.t.Helper()
	s.at = s.refused.said
	s.fail("was refused:\n%s", s.refused.text)
}

// call sends a request as somebody; of nobody it shows nothing.
func (s *story) call(who, method, path, mediaType string, body []byte) (int, []byte) {
	s.t.Helper()
	seen := s.seen // not of a sign-in that comes first
	s.seen = ""
	req, err := http.NewRequest(method, s.url+path, bytes.NewReader(body))
	s.must(err)
	if who != "" {
		req.Header.Set("Authorization", "Bearer "+s.token(who))
	}
	if body != nil {
		req.Header.Set("Content-Type", mediaType)
	}
	if seen != "" {
		req.Header.Set("If-Match", seen)
	}
	res, err := http.DefaultClient.Do(req)
	s.must(err)
	defer res.Body.Close()
	text, err := io.ReadAll(res.Body)
	s.must(err)
	s.tag = res.Header.Get("ETag")
	return res.StatusCode, text
}

// acts sends what a line asks for. A refusal is kept for the line after it: then
// the answer is false.
func (s *story) acts(who, method, path string, body, answer any) bool {
	s.t.Helper()
	var text []byte
	if body != nil {
		var err error
		text, err = json.Marshal(body)
		s.must(err)
	}
	status, said := s.call(who, method, path, "application/json", text)
	return s.understood(status, said, answer)
}

func (s *story) understood(status int, said []byte, answer any) bool {
	s.t.Helper()
	if status >= 500 {
		s.fail("%d %s", status, said)
	}
	if status >= 400 {
		s.refused = &problem{said: s.at, text: string(said)}
		s.must(json.Unmarshal(said, s.refused))
		return false
	}
	if answer != nil {
		s.must(json.Unmarshal(said, answer))
	}
	return true
}

// sends is acts for what is never refused in any story.
func (s *story) sends(who, method, path string, body, answer any) {
	s.t.Helper()
	if !s.acts(who, method, path, body, answer) {
		s.refused.said = s.at
		s.unexpected()
	}
}

// gets asks a question with the key.
func (s *story) gets(path string, answer any) {
	s.t.Helper()
	s.sends("key", "GET", path, nil, answer)
}

// listing is a page of something.
type listing[T any] struct {
	Items []T     `json:"items"`
	Next  *string `json:"next_cursor"`
}

// all reads every page of a list.
func all[T any](s *story, path string) (out []T) {
	s.t.Helper()
	for next := path; ; {
		var l listing[T]
		s.gets(next, &l)
		out = append(out, l.Items...)
		if l.Next == nil {
			return out
		}
		u, err := url.Parse(path)
		s.must(err)
		q := u.Query()
		q.Set("cursor", *l.Next)
		u.RawQuery = q.Encode()
		next = u.String()
	}
}
