package api

import (
	"context"
	"net/http"

	"github.com/danielgtaylor/huma/v2"
	"golang.org/x/mod/sumdb/tlog"

	"lastgood/workflow/key"
	"lastgood/workflow/trail"
	"lastgood/workflow/trail/checkpoint"
)

// CheckpointBody is what was signed of the log over the decision trail.
type CheckpointBody struct {
	Origin   string `json:"origin" doc:"The name of the log"`
	Size     int64  `json:"size" doc:"How many entries it covers"`
	Root     []byte `json:"root" doc:"Base64: the root of the Merkle tree (RFC 6962)"`
	Note     string `json:"note" doc:"The signed note, exactly: keep it somewhere that this server cannot reach"`
	Key      string `json:"key" doc:"The verifier key; trust the one that you were given by other means"`
	SignedAt string `json:"signed_at"`
}

// EntryProofBody proves that an entry is in the log.
type EntryProofBody struct {
	TrailEntry
	Leaf       int64          `json:"leaf" doc:"Its place in the log, from 0"`
	Proof      [][]byte       `json:"proof" doc:"The hashes beside the way from the leaf to the root (RFC 6962, 2.1.1)"`
	Checkpoint CheckpointBody `json:"checkpoint"`
}

// ExtensionBody proves that the log was only added to.
type ExtensionBody struct {
	From     int64    `json:"from"`
	To       int64    `json:"to"`
	FromRoot []byte   `json:"from_root"`
	ToRoot   []byte   `json:"to_root"`
	Proof    [][]byte `json:"proof" doc:"RFC 6962, 2.1.2"`
}

func (s *server) registerCheckpoints(api huma.API) {
	read := needs(key.TrailRead)
	huma.Register(api, huma.Operation{OperationID: "get-checkpoint", Method: http.MethodGet, Path: "/v1/checkpoint",
		Summary: "The newest signed checkpoint of the log over the decision trail", Security: read}, handle(s, s.getCheckpoint))
	huma.Register(api, huma.Operation{OperationID: "prove-entry", Method: http.MethodGet, Path: "/v1/checkpoint/proof",
		Summary: "Proof that an entry is in the log", Security: read}, handle(s, s.proveEntry))
	huma.Register(api, huma.Operation{OperationID: "prove-extension", Method: http.MethodGet, Path: "/v1/checkpoint/consistency",
		Summary: "Proof that the log at one size begins with what it was at a smaller", Security: read}, handle(s, s.proveExtension))
}

func checkpointBody(c trail.Signed) (CheckpointBody, error) {
	b := CheckpointBody{Size: c.Size, Root: c.Root, Note: string(c.Note), Key: c.Key, SignedAt: clock(c.SignedAt)}
	signed, err := checkpoint.Unchecked(c.Note)
	b.Origin = signed.Origin
	return b, err
}

func hashes(list []tlog.Hash) [][]byte {
	out := make([][]byte, len(list))
	for i, h := range list {
		out[i] = h[:]
	}
	return out
}

func (s *server) getCheckpoint(ctx context.Context, _ *struct{}) (*struct{ Body CheckpointBody }, error) {
	c, err := s.svc.Checkpoint(ctx, scope(ctx, ""))
	if err != nil {
		return nil, err
	}
	b, err := checkpointBody(c)
	return &struct{ Body CheckpointBody }{b}, err
}

func (s *server) proveEntry(ctx context.Context, in *struct {
	Entry int64 `query:"entry" required:"true" minimum:"1" doc:"The entry's number in the plant, as events name it"`
}) (*struct{ Body EntryProofBody }, error) {
	p, err := s.svc.ProveEntry(ctx, scope(ctx, ""), in.Entry)
	if err != nil {
		return nil, err
	}
	c, err := checkpointBody(p.At)
	return &struct{ Body EntryProofBody }{EntryProofBody{TrailEntry{p.Stream, p.Seq, p.Prev, p.Hash, p.Body}, p.Leaf, hashes(p.Proof.Proof), c}}, err
}

func (s *server) proveExtension(ctx context.Context, in *struct {
	From int64 `query:"from" required:"true" minimum:"1" doc:"The smaller size"`
	To   int64 `query:"to" minimum:"0" doc:"The larger; 0: that of the newest checkpoint"`
}) (*struct{ Body ExtensionBody }, error) {
	x, err := s.svc.ProveExtension(ctx, scope(ctx, ""), in.From, in.To)
	if err != nil {
		return nil, err
	}
	return &struct{ Body ExtensionBody }{ExtensionBody{x.From, x.To, x.FromRoot[:], x.ToRoot[:], hashes(x.Proof)}}, nil
}
