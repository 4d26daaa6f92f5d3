package main

import (
	"bytes"
	"context"
	"fmt"
	"io"
	"net/http"
	"net/url"
	"path/filepath"
	"strings"

	"github.com/go-json-experiment/json"

	"lastgood/api"
)

// client calls the API of an installation.
type client struct {
	base string
	key  string
	http *http.Client
}

// send sends a request and returns the body of a good answer; anything else is
// an *api.Problem.
func (c *client) send(ctx context.Context, method, path, mediaType string, body []byte) ([]byte, error) {
	return c.do(ctx, method, path, bytes.NewReader(body), "Content-Type", mediaType)
}

func (c *client) do(ctx context.Context, method, path string, body io.Reader, headers ...string) ([]byte, error) {
	b, _, err := c.ask(ctx, method, path, body, headers...)
	return b, err
}

// tag returns the ETag of something.
func (c *client) tag(ctx context.Context, path string) (string, error) {
	_, h, err := c.ask(ctx, http.MethodGet, path, nil)
	return h.Get("ETag"), err
}

// ask sends a request and returns the body and the headers of a good answer.
func (c *client) ask(ctx context.Context, method, path string, body io.Reader, headers ...string) ([]byte, http.Header, error) {
	req, err := http.NewRequestWithContext(ctx, method, strings.TrimSuffix(c.base, "/")+path, body)
	if err != nil {
		return nil, nil, err
	}
	req.Header.Set("Authorization", "Bearer "+c.key)
	for i := 0; i < len(headers); i += 2 {
		req.Header.Set(headers[i], headers[i+1])
	}
	res, err := c.http.Do(req)
	if err != nil {
		return nil, nil, err
	}
	defer res.Body.Close()
	b, err := io.ReadAll(res.Body)
	if err != nil {
		return nil, nil, err
	}
	if res.StatusCode < 300 {
		return b, res.Header, nil
	}
	p := &api.Problem{}
	if err := json.Unmarshal(b, p); err != nil || p.Detail == "" {
		return nil, nil, fmt.Errorf("%s %s: %s", method, path, res.Status)
	}
	return nil, nil, p
}

// post sends JSON and reads JSON.
func (c *client) post(ctx context.Context, path string, body, answer any) error {
	text, err := json.Marshal(body)
	if err != nil {
		return err
	}
	b, err := c.send(ctx, http.MethodPost, path, "application/json", text)
	if err != nil {
		return err
	}
	return json.Unmarshal(b, answer)
}

// upload sends a readings file as it is: its name says its form and compression.
func (c *client) upload(ctx context.Context, batch, name string, body io.Reader) (said api.UploadBody, err error) {
	encoding := map[string]string{".gz": "gzip", ".zst": "zstd"}[filepath.Ext(name)]
	mediaType := "text/csv"
	if strings.Contains(name, ".ndjson") {
		mediaType = "application/x-ndjson"
	}
	headers := []string{"Content-Type", mediaType}
	if encoding != "" {
		headers = append(headers, "Content-Encoding", encoding)
	}
	b, err := c.do(ctx, http.MethodPost, "/v1/readings?batch="+url.QueryEscape(batch), body, headers...)
	if err != nil {
		return said, err
	}
	return said, json.Unmarshal(b, &said)
}
