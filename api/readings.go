package api

import (
	"context"
	"math"
	"net/http"
	"reflect"
	"strconv"
	"time"

	"github.com/danielgtaylor/huma/v2"
	"github.com/go-json-experiment/json/jsontext"

	"lastgood/api/exchange"
	"lastgood/workflow/fault"
	"lastgood/workflow/key"
	"lastgood/workflow/reading"
)

// ReadingBody is a reading as it was recorded: its value has the decimals that
// it was reported with.
type ReadingBody struct {
	Instrument string `json:"instrument"`
	TakenAt    Moment `json:"taken_at" doc:"As the instrument's clock showed it"`
	// ShiftedAt is given where the clock is known to have been wrong.
	ShiftedAt  *Moment `json:"shifted_at,omitzero" doc:"The true time, where the clock was wrong by a known time"`
	Value      Digits  `json:"value"`
	Unit       string  `json:"unit" enum:"C,F,K"`
	Lot        string  `json:"lot,omitzero"`
	Limit      string  `json:"limit,omitzero"`
	Location   string  `json:"location,omitzero"`
	TakenBy    string  `json:"taken_by,omitzero"`
	RecordedAt Moment  `json:"recorded_at" doc:"When it came in"`
}

// Digits is a number with the decimals that it was written with.
type Digits jsontext.Value

// MarshalJSON writes the digits as they are.
func (d Digits) MarshalJSON() ([]byte, error) { return d, nil }

// Schema documents a number.
func (Digits) Schema(huma.Registry) *huma.Schema { return &huma.Schema{Type: huma.TypeNumber} }

// ReadingsQuery says which readings.
type ReadingsQuery struct {
	Paging
	Instrument string `query:"instrument" required:"true" maxLength:"100"`
	From       string `query:"from" doc:"RFC 3339 with an offset; readings at this time are in it"`
	To         string `query:"to" doc:"RFC 3339 with an offset; readings at this time are in it"`
}

func (s *server) registerReadings(api huma.API) {
	huma.Register(api, huma.Operation{OperationID: "list-readings", Method: http.MethodGet, Path: "/v1/readings",
		Summary: "Readings of an instrument, as they were recorded, in order of time", Security: needs(key.FactsRead)}, handle(s, s.listReadings))
	s.registerQuarantine(api)
	file := &huma.MediaType{Schema: &huma.Schema{Type: huma.TypeString, Format: "binary"}}
	huma.Register(api, huma.Operation{OperationID: "upload-readings", Method: http.MethodPost, Path: "/v1/readings",
		Summary: "Take readings in, as a stream of rows with the columns of readings.csv",
		Description: "Rows are taken in chunks of " + strconv.Itoa(reading.MaxChunk) + ", each in one transaction, so that sending the same batch again is safe. " +
			"Rows that are wrong are listed and the others of their chunk are taken in. Rows that are not plausible are stored in quarantine and listed: " +
			"each counts as a gap until somebody decides on it. A body may be compressed: Content-Encoding gzip or zstd. " +
			"A body that breaks off is answered with a problem document that says up to which line it was taken in.",
		Security: needs(key.ReadingsWrite), Responses: brokenResponses(api),
		RequestBody: &huma.RequestBody{Required: true, Content: map[string]*huma.MediaType{ndjson: file, commaSeparated: file}}}, s.uploadReadings)
}

// brokenResponses documents the answers to a body that was not read to its end.
func brokenResponses(api huma.API) map[string]*huma.Response {
	r := api.OpenAPI().Components.Schemas
	schema := &huma.Schema{OneOf: []*huma.Schema{huma.SchemaFromType(r, reflect.TypeFor[BrokenUpload]()), huma.SchemaFromType(r, reflect.TypeFor[Problem]())}}
	out := map[string]*huma.Response{}
	for _, status := range []int{http.StatusRequestTimeout, http.StatusConflict, http.StatusRequestEntityTooLarge, http.StatusUnprocessableEntity} {
		out[strconv.Itoa(status)] = &huma.Response{Description: http.StatusText(status),
			Content: map[string]*huma.MediaType{"application/problem+json": {Schema: schema}}}
	}
	out["default"] = &huma.Response{Description: "Error", Content: map[string]*huma.MediaType{"application/problem+json": {Schema: schema}}}
	return out
}

func (s *server) listReadings(ctx context.Context, in *ReadingsQuery) (*listed[ReadingBody], error) {
	after, until, err := in.span()
	if err != nil {
		return nil, err
	}
	list, err := s.svc.Readings(ctx, scope(ctx, ""), in.Instrument, after, until, in.Limit+1)
	if err != nil {
		return nil, err
	}
	rows := page(list, in.Paging, "/v1/readings", in.query(), func(k reading.Kept) string {
		return joined(number(k.Place.At.UnixMicro()), number(k.Place.Source))
	})
	out := &listed[ReadingBody]{Link: rows.Link, Body: Page[ReadingBody]{Items: []ReadingBody{}, NextCursor: rows.Body.NextCursor}}
	for _, k := range rows.Body.Items {
		out.Body.Items = append(out.Body.Items, ReadingBody{k.Instrument, moment(k.TakenAt), momentOr(k.ShiftedAt),
			strconv.AppendFloat(nil, k.Value, 'f', int(k.Decimals), 64), k.Unit.String(), k.Lot, k.Limit, k.Location, k.TakenBy, moment(k.RecordedAt)})
	}
	return out, nil
}

// span returns where the page begins and where the list ends.
func (q ReadingsQuery) span() (after reading.Place, until time.Time, err error) {
	from, err := timeOr(q.From, "query.from", time.Time{})
	if err != nil {
		return after, until, err
	}
	if until, err = timeOr(q.To, "query.to", time.Date(9999, 1, 1, 0, 0, 0, 0, time.UTC)); err != nil {
		return after, until, err
	}
	parts, err := q.parts(2)
	if err != nil {
		return after, until, err
	}
	if parts[0] == "" {
		return reading.Place{At: from.Add(-time.Microsecond), Source: math.MaxInt64}, until, nil
	}
	at, errAt := strconv.ParseInt(parts[0], 10, 64)
	source, errSource := strconv.ParseInt(parts[1], 10, 64)
	if errAt != nil || errSource != nil {
		return after, until, fault.New(fault.Invalid, "bad-cursor", "this is no cursor of ours").In("query.cursor")
	}
	return reading.Place{At: time.UnixMicro(at).UTC(), Source: source}, until, nil
}

// timeOr reads a time of the query, which may be left out.
func timeOr(s, field string, otherwise time.Time) (time.Time, error) {
	if s == "" {
		return otherwise, nil
	}
	t, f := exchange.Time(s)
	if f != nil {
		return t, f.In(field)
	}
	return t, nil
}

func (q ReadingsQuery) query() map[string][]string {
	v := map[string][]string{"instrument": {q.Instrument}}
	if q.From != "" {
		v["from"] = []string{q.From}
	}
	if q.To != "" {
		v["to"] = []string{q.To}
	}
	return v
}
