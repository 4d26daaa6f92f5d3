package api

import (
	"context"
	"errors"
	"io"
	"log/slog"
	"net/http"
	"time"

	"github.com/danielgtaylor/huma/v2"

	"lastgood/api/exchange"
	"lastgood/workflow"
	"lastgood/workflow/fault"
	"lastgood/workflow/pg"
)

// UploadIn is a file of readings. It has no body field, so that nobody reads the
// body but us.
type UploadIn struct {
	Batch string `query:"batch" required:"true" minLength:"1" maxLength:"100" doc:"The sender's own key of the batch: sending the same again is safe"`
	ctx   huma.Context
}

// Resolve keeps the request.
func (in *UploadIn) Resolve(ctx huma.Context) []error {
	in.ctx = ctx
	return nil
}

// UploadBody says what became of every row. Ranges are of lines, the first and
// the last one included.
type UploadBody struct {
	Batch             string       `json:"batch"`
	Accepted          [][2]int     `json:"accepted"`
	AcceptedRows      int          `json:"accepted_rows"`
	Duplicates        [][2]int     `json:"duplicates" doc:"Recorded before, with the same value"`
	Refused           []RefusedRow `json:"refused"`
	Quarantined       []RefusedRow `json:"quarantined" doc:"Stored, and a gap until somebody decides: see /v1/readings/quarantine"`
	LastCommittedLine int          `json:"last_committed_line"`
}

// RefusedRow is what is wrong with a row, which was not taken in as a reading.
type RefusedRow struct {
	Line   int    `json:"line"`
	Field  string `json:"field,omitzero"`
	Rule   string `json:"rule"`
	Detail string `json:"detail"`
}

// BrokenUpload is the problem document of a body that was not read to its end,
// with what became of the rows before.
type BrokenUpload struct {
	Problem
	UploadBody
}

// GetStatus makes it an answer of huma's.
func (b *BrokenUpload) GetStatus() int { return b.Status }

// ContentType is that of problem documents.
func (b *BrokenUpload) ContentType(string) string { return "application/problem+json" }

type uploadAnswer struct{ Body UploadBody }

// uploadReadings takes a file in. One goroutine parses chunk n+1 while this one
// commits chunk n, and neither is ever further ahead: the sender is read as
// fast as chunks commit.
func (s *server) uploadReadings(ctx context.Context, in *UploadIn) (*uploadAnswer, error) {
	u, err := s.openUpload(in)
	if err != nil {
		return nil, s.problemOf(ctx, err)
	}
	defer u.close()
	body := UploadBody{Batch: in.Batch, Accepted: [][2]int{}, Duplicates: [][2]int{}, Refused: []RefusedRow{}, Quarantined: []RefusedRow{}}
	ctx, stop := context.WithCancel(ctx)
	chunks := make(chan chunk)
	go func() {
		defer close(chunks)
		u.parse(ctx, chunks)
	}()
	err = commitAll(ctx, s.svc, scope(ctx, ""), &body, chunks)
	stop()
	for range chunks { // the parser has ended once this is closed
	}
	if err == nil {
		err = u.broken()
	}
	if err != nil {
		return nil, s.brokenUpload(ctx, err, body)
	}
	return &uploadAnswer{body}, nil
}

// brokenUpload answers for what ended an upload, with what became of it until
// then.
func (s *server) brokenUpload(ctx context.Context, err error, body UploadBody) error {
	var p *Problem
	if !errors.As(s.problemOf(ctx, err), &p) {
		return err
	}
	s.log.WarnContext(ctx, "upload ended early", slog.String("rule", p.Rule), slog.Int("line", body.LastCommittedLine))
	p.Instance = requestID(ctx)
	return &BrokenUpload{*p, body}
}

// upload is a file that is being taken in.
type upload struct {
	batch string
	body  *patient
	cap   *capped
	file  *exchange.Upload
	close func()
}

func (s *server) openUpload(in *UploadIn) (*upload, error) {
	name, err := formOf(in.ctx.Header("Content-Type"))
	if err != nil {
		return nil, err
	}
	zone, err := s.svc.Zone(in.ctx.Context(), scope(in.ctx.Context(), ""))
	if err != nil {
		return nil, err
	}
	body := &patient{ctx: in.ctx, r: in.ctx.BodyReader(), stall: s.StallTime}
	text, closeText, err := decompressed(in.ctx.Header("Content-Encoding"), body)
	if err != nil {
		return nil, err
	}
	c := &capped{r: text, left: s.MaxUpload}
	return &upload{batch: in.Batch, body: body, cap: c, file: exchange.NewUpload(name, c, zone), close: func() {
		closeText()
		_ = in.ctx.SetReadDeadline(time.Now().Add(s.StallTime)) // for what is left of the body
	}}, nil
}

// broken says why the file was not read to its end. The sender may send it
// again: what was taken in is known by its batch and chunk.
func (u *upload) broken() error {
	stopped := u.file.Stopped()
	switch {
	case u.cap.over:
		return newProblem(http.StatusRequestEntityTooLarge, "too-large", "the readings take more room, decompressed, than one upload may: send them in parts")
	case timedOut(u.body.ended):
		return newProblem(http.StatusRequestTimeout, "too-slow", "nothing came for too long: send the batch again")
	case u.body.ended != nil && !errors.Is(u.body.ended, io.EOF):
		return newProblem(http.StatusUnprocessableEntity, "truncated", "the body ended in its midst: send the batch again")
	case len(stopped) == 0:
		return nil
	}
	p := newProblem(http.StatusUnprocessableEntity, stopped[0].Rule, stopped[0].Detail)
	if stopped[0].Rule == "damaged-file" {
		p.Detail = "the compressed body is damaged from here on: send the batch again"
	}
	for _, f := range stopped {
		detail := f.Detail
		if f.Rule == "damaged-file" {
			detail = p.Detail
		}
		p.Errors = append(p.Errors, Fault{Location: at(f.Column), Line: f.Line, Rule: f.Rule, Detail: detail})
	}
	return p
}

func at(column string) string {
	if column == "" {
		return "body"
	}
	return "body." + column
}

// commitAll takes chunks in as they come. What it returns ends the upload.
func commitAll(ctx context.Context, svc *workflow.Service, sc pg.Scope, body *UploadBody, chunks <-chan chunk) error {
	var before tail
	for c := range chunks {
		a, err := svc.TakeGoodReadings(ctx, sc, c.sent)
		if errors.Is(err, fault.Invalid) && ruleIs(err, "idempotency-key-reused") {
			return fault.New(fault.Conflict, "batch-chunk-reused", "batch %s was sent before with other rows in chunk %d: a changed file is another batch", c.sent.BatchKey, c.sent.Number)
		}
		if err != nil {
			return err
		}
		c.report(a, body, &before)
		if len(body.Refused) > mostRefused {
			return newProblem(http.StatusUnprocessableEntity, "too-many-refused", "so many rows are wrong that the file must be; the rest was not read")
		}
		if len(body.Quarantined) > mostRefused {
			return newProblem(http.StatusUnprocessableEntity, "too-many-quarantined", "so many readings are not plausible that the unit must be wrong, or the range of the instrument; the rest was not read")
		}
	}
	return nil
}

func ruleIs(err error, rule string) bool {
	var f *fault.Error
	return errors.As(err, &f) && f.Rule == rule
}
