package api

import (
	"net/url"
	"strings"
	"testing"

	"github.com/danielgtaylor/huma/v2"
)

// hostile are values that no caller of good will sends.
var hostile = []string{"\x00", "\xff", "a\x00b", "-1", "0", "1e3", "99999999999999999999", "9223372036854775807", "2147483648", "NaN",
	"'; drop table plant; --", "../../etc", "🍖", strings.Repeat("x", 5000), " ", "null", "0x10", "2025-03-03T10:00:00", "%", "\r\n"}

// TestHostileParameters: every parameter of every operation, in its path, its
// query and its headers. The answer is never our fault.
func TestHostileParameters(t *testing.T) {
	t.Parallel()
	p := newCase(t).limited(Options{Requests: Rate{PerSecond: 1e6, Burst: 1e6}}) // so that every value gets past the door
	doc := contract()
	for _, op := range operations(doc) {
		t.Run(op.OperationID, func(t *testing.T) {
			q := *p
			q.t = t
			for _, param := range op.Parameters {
				for _, value := range hostile {
					q.suffers(doc, op, param, value)
				}
			}
		})
	}
}

func (p *plant) suffers(doc *huma.OpenAPI, op operation, param *huma.Param, value string) {
	p.t.Helper()
	path, body, headers := op.example()
	switch param.In {
	case "path":
		path = strings.Replace(op.Path, "{"+param.Name+"}", url.PathEscape(value), 1)
		path = placeholder.ReplaceAllString(path, "1")
	case "query":
		path, _, _ = strings.Cut(path, "?")
		query := url.Values{}
		for _, other := range op.Parameters {
			if other.In == "query" && other.Required {
				query.Set(other.Name, "1")
			}
		}
		query.Set(param.Name, value)
		path += "?" + query.Encode()
	case "header":
		if strings.ContainsAny(value, "\x00\r\n") {
			return // no client can send it
		}
		headers = append(headers, param.Name, value)
	}
	res, answer := p.call(op.Method, path, body, headers...)
	if res.StatusCode >= 500 {
		p.t.Errorf("%s %s=%q: %d %s", param.In, param.Name, value, res.StatusCode, answer)
	}
	if res.StatusCode >= 400 && res.Header.Get("Content-Type") != "application/problem+json" {
		p.t.Errorf("%s %s=%q: %d as %s", param.In, param.Name, value, res.StatusCode, res.Header.Get("Content-Type"))
	}
	if res.StatusCode < 300 || res.Request.URL.Path == strings.TrimPrefix(path, p.url) {
		conforms(p.t, doc, op, res, answer)
	}
}
