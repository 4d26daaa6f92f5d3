package api

import (
	"context"
	"net/http"
	"net/url"
	"strconv"

	"github.com/danielgtaylor/huma/v2"

	"lastgood/workflow/key"
)

// TrailEntry is an entry of the decision trail: its bytes as they were hashed,
// and its place in the chain.
type TrailEntry struct {
	Stream string `json:"stream"`
	Seq    int64  `json:"seq"`
	Prev   []byte `json:"prev_hash"`
	Hash   []byte `json:"hash" doc:"SHA-256 over a zero byte and the bytes"`
	Bytes  []byte `json:"bytes" doc:"JSON, base64: exactly what was hashed"`
}

// TrailState is what checking the trail found.
type TrailState struct {
	Entries int    `json:"entries"`
	InLine  int    `json:"without_leaf" doc:"Entries that are not in the log yet; the next checkpoint covers them"`
	Intact  bool   `json:"intact"`
	Wrong   string `json:"wrong,omitzero" doc:"The first entry that is wrong, and how"`
}

func (s *server) registerTrail(api huma.API) {
	read := needs(key.TrailRead)
	huma.Register(api, huma.Operation{OperationID: "list-trail", Method: http.MethodGet, Path: "/v1/trail",
		Summary: "One stream of the decision trail", Security: read}, handle(s, s.listTrail))
	huma.Register(api, huma.Operation{OperationID: "verify-trail", Method: http.MethodGet, Path: "/v1/trail/verification",
		Summary: "Check every stream from its first entry, and the log over them", Security: read}, handle(s, s.verifyTrail))
}

func (s *server) listTrail(ctx context.Context, in *struct {
	Paging
	Stream string `query:"stream" required:"true" maxLength:"300" doc:"deviation/12, cascade/3, instrument/T-114, batch/KEY, administration"`
}) (*listed[TrailEntry], error) {
	after, err := in.afterNumber()
	if err != nil {
		return nil, err
	}
	list, err := s.svc.TrailAfter(ctx, scope(ctx, ""), in.Stream, after, in.Limit+1)
	if err != nil {
		return nil, err
	}
	items := make([]TrailEntry, len(list))
	for i, e := range list {
		items[i] = TrailEntry{e.Stream, e.Seq, e.Prev, e.Hash, e.Body}
	}
	return page(items, in.Paging, "/v1/trail", url.Values{"stream": {in.Stream}}, func(e TrailEntry) string { return strconv.FormatInt(e.Seq, 10) }), nil
}

func (s *server) verifyTrail(ctx context.Context, _ *struct{}) (*struct{ Body TrailState }, error) {
	n, inLine, wrong, err := s.svc.VerifyTrail(ctx, scope(ctx, ""))
	if err != nil {
		return nil, err
	}
	return &struct{ Body TrailState }{TrailState{n, inLine, wrong == "", wrong}}, nil
}
