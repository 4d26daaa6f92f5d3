package api

import (
	"context"
	"errors"
	"fmt"
	"mime"
	"net/http"
	"net/url"
	"reflect"

	"github.com/danielgtaylor/huma/v2"
	"github.com/go-json-experiment/json"
	"github.com/go-json-experiment/json/jsontext"

	"lastgood/api/exchange"
	"lastgood/workflow"
	"lastgood/workflow/fault"
	"lastgood/workflow/key"
	"lastgood/workflow/pg"
)

// mostItems is how many facts one request may carry.
const mostItems = 5000

// ListOf is a request of many facts. It only documents: the items go through
// the decoders of the exchange format, so that a value means the same in a file
// and here, and is refused by the same rule.
type ListOf[T any] struct {
	Items []T `json:"items" minItems:"1" maxItems:"5000"`
}

// FactsIn is the text of a request whose values are decoded by us.
type FactsIn struct {
	Write
	RawBody   []byte `contentType:"application/json"`
	mediaType string
}

// Resolve keeps the media type, which is no parameter.
func (in *FactsIn) Resolve(ctx huma.Context) []error {
	in.mediaType = ctx.Header("Content-Type")
	return nil
}

// text returns the body if it is JSON.
func (in *FactsIn) text() ([]byte, error) {
	if m, _, err := mime.ParseMediaType(in.mediaType); err != nil || m != "application/json" {
		return nil, newProblem(http.StatusUnsupportedMediaType, "media-type", "this takes application/json")
	}
	return in.RawBody, nil
}

// items returns the items of a list.
func (in *FactsIn) items() ([]jsontext.Value, error) {
	text, err := in.text()
	if err != nil {
		return nil, err
	}
	var list ListOf[jsontext.Value]
	if err := unmarshal(text, &list); err != nil {
		return nil, err
	}
	if n := len(list.Items); n == 0 || n > mostItems {
		return nil, badList(n)
	}
	return list.Items, nil
}

func badList(n int) error {
	return fault.New(fault.Invalid, "out-of-range", "a list holds from 1 to %d facts, not %d", mostItems, n).In("body")
}

// unmarshal reads JSON strictly. What is wrong is named by its place; the words
// of the parser stay here, since they name types of ours.
func unmarshal(text []byte, v any) error {
	err := json.Unmarshal(text, v, json.RejectUnknownMembers(true))
	var syntax *jsontext.SyntacticError
	var meaning *json.SemanticError
	switch {
	case err == nil:
		return nil
	case errors.Is(err, jsontext.ErrDuplicateName) && errors.As(err, &syntax):
		return badBody("duplicate-member", "the member "+syntax.JSONPointer.LastToken()+" stands twice in one object", syntax.JSONPointer)
	case errors.As(err, &syntax):
		return badBody("bad-json", "the body is not JSON from here on", syntax.JSONPointer)
	case errors.Is(err, json.ErrUnknownName) && errors.As(err, &meaning):
		return fault.New(fault.Invalid, "unknown-column", "there is no member %s here", meaning.JSONPointer.LastToken()).In("body" + string(meaning.JSONPointer))
	case errors.As(err, &meaning):
		return fault.New(fault.Invalid, "bad-json", "this is not of the type that belongs here").In("body" + string(meaning.JSONPointer))
	}
	return badBody("bad-json", "the body is not JSON, or not whole", "")
}

func badBody(rule, detail string, at jsontext.Pointer) *Problem {
	p := newProblem(http.StatusBadRequest, rule, detail)
	p.Errors = []Fault{{Location: "body" + string(at), Rule: rule, Detail: detail}}
	return p
}

// CountsBody says what became of a list of facts.
type CountsBody struct {
	Accepted  int `json:"accepted"`
	Unchanged int `json:"unchanged" doc:"Recorded before, with the same values"`
	// Quarantined is given where there are any.
	Quarantined []AsideBody `json:"quarantined,omitempty" doc:"Rows that were put aside, since they would make a lot its own ancestor: their lots are held"`
}

// AsideBody is a row that was put aside instead of being recorded.
type AsideBody struct {
	ID       int64  `json:"id" doc:"In quarantine"`
	Location string `json:"location" example:"body.items[3].output_lot"`
	Rule     string `json:"rule"`
	Detail   string `json:"detail"`
}

func countsBody(c workflow.Counts) CountsBody {
	b := CountsBody{Accepted: c.Accepted, Unchanged: c.Unchanged}
	for _, q := range c.Quarantined {
		b.Quarantined = append(b.Quarantined, AsideBody{q.ID, fmt.Sprintf("body.items[%d].%s", q.Index, q.Field), q.Rule, q.Detail})
	}
	return b
}

type countsAnswer struct{ Body CountsBody }

// fact is a kind of fact that comes in as a list.
type fact[T any] struct {
	name    string // of the path and the operations: "stays"
	summary string
	decode  func([]jsontext.Value) ([]T, fault.Rows)
	add     func(context.Context, pg.Scope, []T) (workflow.Counts, error)
	person  key.Scope // that a person needs for it; a key needs facts:write
}

// registerFact registers the operation that takes facts of a kind. W documents
// an item.
func registerFact[T, W any](s *server, api huma.API, f fact[T]) {
	registerDecoded[ListOf[W]](api, huma.Operation{OperationID: "add-" + f.name, Method: http.MethodPost, Path: "/v1/" + f.name, Summary: f.summary,
		Security: append(needsKey(key.FactsWrite), needsPerson(f.person)...), DefaultStatus: http.StatusCreated, MaxBodyBytes: s.MaxBody},
		handle(s, func(ctx context.Context, in *FactsIn) (*countsAnswer, error) {
			items, err := in.items()
			if err != nil {
				return nil, err
			}
			list, bad := f.decode(items)
			if len(bad) > 0 {
				return nil, bad
			}
			c, err := f.add(ctx, scope(ctx, in.IdempotencyKey), list)
			if err != nil {
				return nil, err
			}
			return &countsAnswer{countsBody(c)}, nil
		}))
}

// registerDecoded registers an operation with a JSON body that we decode
// ourselves and that W documents: huma would describe it as bytes and hold the
// JSON to that.
func registerDecoded[W, I, O any](api huma.API, op huma.Operation, handler func(context.Context, *I) (*O, error)) {
	schema := huma.SchemaFromType(api.OpenAPI().Components.Schemas, reflect.TypeFor[W]())
	op.RequestBody = &huma.RequestBody{Required: true, Content: map[string]*huma.MediaType{}}
	op.SkipValidateBody = true
	huma.Register(api, op, handler)
	op.RequestBody.Content["application/json"] = &huma.MediaType{Schema: schema}
}

// filter is the query of a list: a page, and what it is of.
type filter interface {
	of() string
	query() url.Values
	paging() Paging
}

// AllOf is a list of everything.
type AllOf struct{ Paging }

func (AllOf) of() string        { return "" }
func (AllOf) query() url.Values { return url.Values{} }
func (a AllOf) paging() Paging  { return a.Paging }

// OfInstrument is a list of what is recorded of an instrument.
type OfInstrument struct {
	Paging
	Instrument string `query:"instrument" maxLength:"100" doc:"Only of this one"`
}

func (o OfInstrument) of() string     { return o.Instrument }
func (o OfInstrument) paging() Paging { return o.Paging }
func (o OfInstrument) query() url.Values {
	return named("instrument", o.Instrument)
}

// OfLot is a list of what is recorded of a lot.
type OfLot struct {
	Paging
	Lot string `query:"lot" maxLength:"200" doc:"Only of this one"`
}

// Resolve names the lot as the records name it.
func (o *OfLot) Resolve(huma.Context) []error { return remark(&o.Lot, exchange.Product, "query.lot") }

func (o OfLot) of() string        { return o.Lot }
func (o OfLot) paging() Paging    { return o.Paging }
func (o OfLot) query() url.Values { return named("lot", o.Lot) }

func named(name, value string) url.Values {
	if value == "" {
		return url.Values{}
	}
	return url.Values{name: {value}}
}

// placed is an item of a list with its key in the cursor.
type placed[W any] struct {
	key  string
	item W
}

// registerList registers the operation that lists facts of a kind.
func registerList[F filter, W any](s *server, api huma.API, name, summary string,
	list func(ctx context.Context, sc pg.Scope, in F, limit int) ([]placed[W], error)) {
	huma.Register(api, huma.Operation{OperationID: "list-" + name, Method: http.MethodGet, Path: "/v1/" + name, Summary: summary,
		Security: needs(key.FactsRead)}, handle(s, func(ctx context.Context, in *F) (*listed[W], error) {
		p := (*in).paging()
		rows, err := list(ctx, scope(ctx, ""), *in, p.Limit+1)
		if err != nil {
			return nil, err
		}
		cut := page(rows, p, "/v1/"+name, (*in).query(), func(r placed[W]) string { return r.key })
		out := &listed[W]{Link: cut.Link, Body: Page[W]{Items: []W{}, NextCursor: cut.Body.NextCursor}}
		for _, r := range cut.Body.Items {
			out.Body.Items = append(out.Body.Items, r.item)
		}
		return out, nil
	}))
}
