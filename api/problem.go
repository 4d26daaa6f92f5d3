package api

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"net/http"
	"strconv"

	"github.com/danielgtaylor/huma/v2"

	"lastgood/workflow"
	"lastgood/workflow/fault"
)

// Problem is a problem document (RFC 9457).
type Problem struct {
	Type     string  `json:"type" doc:"/problems/ and the rule"`
	Title    string  `json:"title"`
	Status   int     `json:"status"`
	Detail   string  `json:"detail" doc:"One sentence for a person"`
	Instance string  `json:"instance,omitzero" doc:"Names this answer in the server's log"`
	Rule     string  `json:"rule" doc:"What was broken; stable"`
	Errors   []Fault `json:"errors,omitempty" doc:"Every row or field at fault"`
	// Cascade is what there is instead of what was looked at.
	Cascade *CascadeBody `json:"cascade,omitempty" doc:"With preview-outdated: the cascade as it is now"`
	// Reasons are all that is missing.
	Reasons []ReasonBody `json:"reasons,omitempty" doc:"With not-closable: everything that stands in the way"`

	retryAfter int // seconds; 0: as the status has it
}

// Fault is one row or field at fault.
type Fault struct {
	Location string `json:"location,omitzero" doc:"Where in the request: body.items[3].unit, query.limit"`
	Line     int    `json:"line,omitzero" doc:"Of an uploaded file"`
	Rule     string `json:"rule"`
	Detail   string `json:"detail"`
}

// Error returns the sentence for the person.
func (p *Problem) Error() string { return p.Detail }

// GetStatus makes a problem an answer of huma's.
func (p *Problem) GetStatus() int { return p.Status }

// GetHeaders says when to come back or how to be let in, where that helps.
func (p *Problem) GetHeaders() http.Header {
	switch {
	case p.retryAfter > 0:
		return http.Header{"Retry-After": {strconv.Itoa(p.retryAfter)}}
	case p.Status == http.StatusServiceUnavailable:
		return http.Header{"Retry-After": {"2"}} // a database that starts again takes about so long
	case p.Rule == "step-up-required": // RFC 9470, section 3
		return http.Header{"Www-Authenticate": {fmt.Sprintf(`Bearer realm="lastgood", error="insufficient_user_authentication", `+
			`error_description="give the password once more", max_age="%.0f"`, workflow.SignsWithin.Seconds())}}
	}
	return nil
}

// ContentType is that of problem documents.
func (p *Problem) ContentType(string) string { return "application/problem+json" }

// statuses says what each kind of fault is over HTTP.
var statuses = map[fault.Kind]int{
	fault.Invalid:         http.StatusUnprocessableEntity,
	fault.Unauthenticated: http.StatusUnauthorized,
	fault.Forbidden:       http.StatusForbidden,
	fault.NotFound:        http.StatusNotFound,
	fault.Stale:           http.StatusPreconditionFailed,
	fault.Conflict:        http.StatusConflict,
	fault.Refused:         http.StatusConflict,
	fault.Busy:            http.StatusServiceUnavailable,
	fault.Internal:        http.StatusInternalServerError,
}

// huma makes its errors through package variables, probed when operations are
// registered: they are set once, here, and by nobody else.
func init() {
	huma.NewError = func(status int, msg string, errs ...error) huma.StatusError { return fromHuma(status, msg, errs) }
	huma.NewErrorWithContext = func(_ huma.Context, status int, msg string, errs ...error) huma.StatusError {
		return fromHuma(status, msg, errs)
	}
	huma.DefaultArrayNullable = false
	huma.ValidateStrictCasing = true
}

// fromHuma puts huma's own findings into our form, without the values that it
// would echo and without causes.
func fromHuma(status int, msg string, errs []error) *Problem {
	if status == http.StatusInternalServerError && msg == unreadable {
		return newProblem(http.StatusBadRequest, "truncated", "the body broke off, or is not what its headers say")
	}
	p := newProblem(status, ruleOf(status), msg)
	for _, err := range errs {
		var ours *Problem
		if errors.As(err, &ours) {
			return ours
		}
		if status >= http.StatusInternalServerError {
			continue
		}
		var d huma.ErrorDetailer
		if errors.As(err, &d) {
			e := d.ErrorDetail()
			p.Errors = append(p.Errors, Fault{Location: e.Location, Rule: p.Rule, Detail: e.Message})
		} else if err != nil {
			p.Errors = append(p.Errors, Fault{Rule: p.Rule, Detail: err.Error()})
		}
	}
	if status >= http.StatusInternalServerError {
		p.Detail = internalDetail
	}
	return p
}

// unreadable is what huma says, as a fault of ours, when a body cannot be read to
// its end. It is the sender's or the network's.
const unreadable = "cannot read request body"

const internalDetail = "something went wrong on our side; the log knows it by this answer's instance"

func newProblem(status int, rule, detail string) *Problem {
	return &Problem{Type: "/problems/" + rule, Title: http.StatusText(status), Status: status, Rule: rule, Detail: detail}
}

// ruleOf names what the transport itself refuses.
func ruleOf(status int) string {
	switch status {
	case http.StatusBadRequest:
		return "bad-request"
	case http.StatusUnauthorized:
		return "key-missing"
	case http.StatusNotFound:
		return "not-found"
	case http.StatusMethodNotAllowed:
		return "method-not-allowed"
	case http.StatusNotAcceptable:
		return "not-acceptable"
	case http.StatusRequestTimeout:
		return "too-slow"
	case http.StatusRequestEntityTooLarge:
		return "too-large"
	case http.StatusUnsupportedMediaType:
		return "media-type"
	case http.StatusUnprocessableEntity:
		return "invalid"
	case http.StatusPreconditionRequired:
		return "precondition-required"
	}
	return "internal"
}

// problemOf turns what the engine answered into a problem document. Only faults
// speak to the caller; anything else is logged and answered with a fixed text.
func (s *server) problemOf(ctx context.Context, err error) error {
	var p *Problem
	if errors.As(err, &p) {
		return p
	}
	var rows fault.Rows
	var happenings *workflow.HappeningFaults
	var f *fault.Error
	switch {
	case errors.As(err, &happenings):
		p = newProblem(http.StatusUnprocessableEntity, "rows-refused", "some rows are wrong: nothing was written")
		p.Errors = append(rowFaults("body.events", happenings.Events), rowFaults("body.checks", happenings.Checks)...)
	case errors.As(err, &rows):
		p = newProblem(http.StatusUnprocessableEntity, "rows-refused", "some rows are wrong: nothing was written")
		p.Errors = rowFaults("body.items", rows)
	case errors.As(err, &f) && statuses[f.Kind] < http.StatusInternalServerError:
		p = newProblem(statuses[f.Kind], f.Rule, f.Detail)
		if f.Field != "" {
			p.Errors = []Fault{{Location: f.Field, Rule: f.Rule, Detail: f.Detail}}
		}
		var u *workflow.Unclosable
		if errors.As(err, &u) {
			p.Reasons = reasonBodies(u.Reasons)
		}
	case errors.As(err, &f) && f.Rule == workflow.LogRegressed:
		p = newProblem(http.StatusServiceUnavailable, f.Rule, f.Detail)
	case errors.Is(err, context.Canceled), errors.Is(err, context.DeadlineExceeded):
		p = newProblem(http.StatusServiceUnavailable, "busy", "the request ended before its work did: nothing was written; try again")
	default:
		p = newProblem(http.StatusInternalServerError, "internal", internalDetail)
		if unavailable(err) {
			p = newProblem(http.StatusServiceUnavailable, "busy", "the database cannot be reached just now: nothing was written; try again")
		}
		s.log.ErrorContext(ctx, "request failed", slog.String("instance", requestID(ctx)), slog.String("error", err.Error()))
	}
	p.Instance = requestID(ctx)
	return p
}

func rowFaults(list string, rows fault.Rows) []Fault {
	var out []Fault
	for _, r := range rows {
		at := fmt.Sprintf("%s[%d]", list, r.Index)
		if r.Part > 0 {
			at += fmt.Sprintf(".points[%d]", r.Part)
		}
		if r.Field != "" {
			at += "." + r.Field
		}
		out = append(out, Fault{Location: at, Rule: r.Rule, Detail: r.Detail})
	}
	return out
}

// handle wraps every handler, so that nothing but problem documents comes out of
// one that fails.
func handle[I, O any](s *server, f func(context.Context, *I) (*O, error)) func(context.Context, *I) (*O, error) {
	return func(ctx context.Context, in *I) (*O, error) {
		out, err := f(ctx, in)
		if err != nil {
			return nil, s.problemOf(ctx, inRequest[I](err))
		}
		return out, nil
	}
}
