package api

import (
	"encoding/base64"
	"errors"
	"fmt"
	"net"
	"net/http"
	"net/url"
	"strconv"
	"strings"
	"time"

	"lastgood/workflow/fault"
)

// Write is the header of every operation that writes.
type Write struct {
	IdempotencyKey string `header:"Idempotency-Key" maxLength:"200" doc:"The same key with the same request is answered as the first time"`
}

// Seen is the header of a command on something that can change.
type Seen struct {
	IfMatch string `header:"If-Match" doc:"The ETag of what you looked at" example:"\"v1\""`
}

// version returns the version that the caller looked at.
func (s Seen) version() (int, error) {
	switch {
	case s.IfMatch == "":
		return 0, newProblem(http.StatusPreconditionRequired, "precondition-required", "send If-Match with the ETag of what you looked at")
	case strings.HasPrefix(s.IfMatch, "W/"), strings.Contains(s.IfMatch, ","), s.IfMatch == "*":
		return 0, newProblem(http.StatusPreconditionFailed, "precondition-failed", "If-Match takes the one strong ETag that you looked at")
	}
	v, err := strconv.Atoi(strings.TrimSuffix(strings.TrimPrefix(s.IfMatch, `"v`), `"`))
	if err != nil || etag(v) != s.IfMatch {
		return 0, newProblem(http.StatusPreconditionFailed, "precondition-failed", "this is no ETag of ours")
	}
	return v, nil
}

// etag is the strong tag of a version.
func etag(version int) string { return `"v` + strconv.Itoa(version) + `"` }

// Paging is the query of every list.
type Paging struct {
	Limit  int    `query:"limit" minimum:"1" maximum:"1000" default:"100"`
	Cursor string `query:"cursor" maxLength:"300" doc:"From next_cursor of the page before; never made by hand"`
}

// Page is one page of a list.
type Page[T any] struct {
	Items      []T     `json:"items"`
	NextCursor *string `json:"next_cursor" doc:"null on the last page"`
}

// listed is a page as an answer, with a link to the next.
type listed[T any] struct {
	Link string `header:"Link"`
	Body Page[T]
}

// page cuts one page out of items, which hold one more than the limit if there
// is more. key names an item in the cursor.
func page[T any](items []T, p Paging, path string, query url.Values, key func(T) string) *listed[T] {
	out := &listed[T]{Body: Page[T]{Items: items}}
	if out.Body.Items == nil {
		out.Body.Items = []T{}
	}
	if len(items) > p.Limit {
		out.Body.Items = items[:p.Limit]
		next := base64.RawURLEncoding.EncodeToString([]byte(key(items[p.Limit-1])))
		out.Body.NextCursor = &next
		if query == nil {
			query = url.Values{}
		}
		query.Set("cursor", next)
		query.Set("limit", strconv.Itoa(p.Limit))
		out.Link = fmt.Sprintf(`<%s?%s>; rel="next"`, path, query.Encode())
	}
	return out
}

// after returns the key of the last item of the page before; empty on the first.
func (p Paging) after() (string, error) {
	b, err := base64.RawURLEncoding.DecodeString(p.Cursor)
	if err != nil {
		return "", fault.New(fault.Invalid, "bad-cursor", "this is no cursor of ours").In("query.cursor")
	}
	return string(b), nil
}

// afterNumber is after for lists in order of a number.
func (p Paging) afterNumber() (int64, error) {
	s, err := p.after()
	if err != nil || s == "" {
		return 0, err
	}
	n, err := strconv.ParseInt(s, 10, 64)
	if err != nil {
		return 0, fault.New(fault.Invalid, "bad-cursor", "this is no cursor of ours").In("query.cursor")
	}
	return n, nil
}

// clock writes a time as the interface does.
func clock(t time.Time) string { return t.UTC().Format(time.RFC3339Nano) }

func clockOr(t *time.Time) *string {
	if t == nil {
		return nil
	}
	s := clock(*t)
	return &s
}

// unavailable says whether an error is that the database cannot be reached.
func unavailable(err error) bool {
	var n net.Error
	return errors.As(err, &n) || errors.Is(err, fault.Busy)
}
