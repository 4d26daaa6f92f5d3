package api

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"net"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"

	"github.com/danielgtaylor/huma/v2"
	"github.com/danielgtaylor/huma/v2/adapters/humago"

	"lastgood/workflow/fault"
)

// TestHostileBodies: whatever a body is, the answer is a problem document of the
// caller's fault, without the words of the program.
func TestHostileBodies(t *testing.T) {
	t.Parallel()
	p := newPlant(t)
	for _, c := range []struct {
		name, body string
		status     int
		rule       string
		says       string
	}{
		{"deep", strings.Repeat("[", 500_000), 400, "bad-request", "not JSON"},
		{"not UTF-8", "{\"counted_quantity\":\"\xff\",\"quantity_unit\":\"kg\"}", 400, "bad-request", "not JSON"},
		{"broken surrogate", `{"counted_quantity":"\ud800","quantity_unit":"kg"}`, 400, "bad-request", "not JSON"},
		{"breaks off", `{"counted_quantity":"1"`, 400, "bad-request", "ends before"},
		{"two values", `{} {}`, 400, "bad-request", "not JSON"},
		{"twice", `{"quantity_unit":"kg","quantity_unit":"lb"}`, 400, "bad-request", "/quantity_unit stands twice"},
		{"a list", `[]`, 422, "invalid", ""},
		{"null", `null`, 422, "invalid", ""},
		{"a number where digits belong", `{"counted_quantity":1,"quantity_unit":"kg"}`, 422, "invalid", ""},
		{"nothing", ``, 400, "bad-request", ""},
		{"a huge number", `{"counted_quantity":"` + strings.Repeat("9", 30) + `","quantity_unit":"kg"}`, 422, "not-a-quantity", ""},
		{"a NUL", `{"counted_quantity":"1\u0000","quantity_unit":"kg"}`, 422, "not-a-quantity", ""},
	} {
		t.Run(c.name, func(t *testing.T) {
			q := *p
			q.t = t
			res, body := q.call("POST", "/v1/holds/1/acknowledgement", c.body, "If-Match", `"v1"`, "Content-Type", "application/json")
			q.refused(res, body, c.status, c.rule)
			if !strings.Contains(body, c.says) || strings.Contains(body, "json:") || strings.Contains(body, "jsontext") || strings.Contains(body, "Go ") {
				t.Errorf("it says %s", body)
			}
		})
	}
}

func TestAddressThatIsNoText(t *testing.T) {
	t.Parallel()
	p := newPlant(t)
	for _, path := range []string{"/v1/trail?stream=%ff", "/v1/trail?stream=a%00b", "/v1/trail?stream=%zz", "/v1/deviations/%07"} {
		res, body := p.call("GET", path, "")
		p.refused(res, body, 400, "control-character")
	}
}

// TestBodyThatBreaksOff: fewer bytes than announced is the sender's fault.
func TestBodyThatBreaksOff(t *testing.T) {
	t.Parallel()
	p := newPlant(t)
	c, err := net.Dial("tcp", strings.TrimPrefix(p.url, "http://"))
	if err != nil {
		t.Fatal(err)
	}
	defer c.Close()
	fmt.Fprintf(c, "POST /v1/holds/1/acknowledgement HTTP/1.1\r\nHost: x\r\nAuthorization: Bearer %s\r\nContent-Type: application/json\r\nIf-Match: \"v1\"\r\nContent-Length: 500\r\n\r\n{\"counted", p.key)
	if err := c.(*net.TCPConn).CloseWrite(); err != nil {
		t.Fatal(err)
	}
	res, err := http.ReadResponse(bufio.NewReader(c), nil)
	if err != nil {
		t.Fatal(err)
	}
	b, err := io.ReadAll(res.Body)
	if err != nil {
		t.Fatal(err)
	}
	p.refused(res, string(b), 400, "truncated")
}

// TestEveryKindOfFaultHasItsStatus: and none but a fault says more than that
// something went wrong.
func TestEveryKindOfFaultHasItsStatus(t *testing.T) {
	t.Parallel()
	s := &server{log: slog.New(slog.DiscardHandler)}
	for kind, status := range map[fault.Kind]int{fault.Invalid: 422, fault.Unauthenticated: 401, fault.Forbidden: 403, fault.NotFound: 404,
		fault.Stale: 412, fault.Conflict: 409, fault.Refused: 409, fault.Busy: 503, fault.Internal: 500} {
		cause := errors.New("pq: secret words")
		err := s.problemOf(context.Background(), fmt.Errorf("outer: %w", &fault.Error{Kind: kind, Rule: "a-rule", Detail: "a sentence", Err: cause}))
		var p *Problem
		if !errors.As(err, &p) || p.Status != status || strings.Contains(fmt.Sprintf("%+v", p), "secret") {
			t.Errorf("%s: %+v", kind, p)
		}
		if status < 500 && (p.Rule != "a-rule" || p.Detail != "a sentence") {
			t.Errorf("%s loses its words: %+v", kind, p)
		}
	}
	if len(statuses) != 9 {
		t.Errorf("%d kinds have a status", len(statuses))
	}
}

// TestPanicIsAProblemDocument: a mistake of ours ends one request, in the form
// of every other failure.
func TestPanicIsAProblemDocument(t *testing.T) {
	t.Parallel()
	s := &server{log: slog.New(slog.DiscardHandler)}
	mux := http.NewServeMux()
	api := humago.New(mux, config())
	huma.Register(api, huma.Operation{OperationID: "panics", Method: http.MethodGet, Path: "/panics"},
		func(context.Context, *struct{}) (*struct{}, error) { panic("secret words") })
	mux.HandleFunc("GET /half", func(w http.ResponseWriter, _ *http.Request) {
		_, _ = io.WriteString(w, "half")
		panic("secret words")
	})
	srv := httptest.NewServer(s.outer(mux))
	defer srv.Close()
	res, err := http.Get(srv.URL + "/panics")
	if err != nil {
		t.Fatal(err)
	}
	defer res.Body.Close()
	b, err := io.ReadAll(res.Body)
	if err != nil {
		t.Fatal(err)
	}
	(&plant{t: t}).refused(res, string(b), 500, "internal")
	if strings.Contains(string(b), "secret") {
		t.Errorf("%s", b)
	}
	if res, err := http.Get(srv.URL + "/half"); err == nil {
		defer res.Body.Close()
		if _, err := io.ReadAll(res.Body); err == nil {
			t.Error("half an answer looks like a whole one")
		}
	}
}
