package api

import (
	"context"
	"encoding/hex"
	"mime"
	"net/http"

	"github.com/danielgtaylor/huma/v2"

	"lastgood/api/exchange"
	"lastgood/policy/disposition"
	"lastgood/workflow"
	"lastgood/workflow/decision"
	"lastgood/workflow/fault"
	"lastgood/workflow/key"
)

// mostEvidence is how large a paper may be [bytes]: a scanned report of some
// thirty pages is a few megabytes.
const mostEvidence = 10 << 20

// EvidenceBody is something attached to a lot in doubt, or to one portion of it.
type EvidenceBody struct {
	ID     int64   `json:"id"`
	Kind   string  `json:"kind"`
	Means  string  `json:"means" doc:"What evidence of this kind has to be"`
	Whole  bool    `json:"whole_lot" doc:"It speaks for all of the lot"`
	Name   string  `json:"name"`
	Note   *string `json:"note"`
	SHA256 *string `json:"sha256" doc:"Of bytes that are kept: GET /v1/evidence/{sha256}; null: the note is the evidence"`
	At     string  `json:"attached_at"`
	By     string  `json:"attached_by"`
}

// NewEvidenceBody is evidence to be attached.
type NewEvidenceBody struct {
	Lot       string  `json:"lot" minLength:"1" maxLength:"100"`
	Portion   *string `json:"portion,omitempty" maxLength:"200" doc:"Its name, empty for what no other portion names; left out: all of the lot"`
	Kind      string  `json:"kind" maxLength:"50"`
	Name      string  `json:"name" maxLength:"200"`
	Note      string  `json:"note,omitempty" maxLength:"5000" doc:"Without bytes: where the paper is kept, and what it says"`
	MediaType string  `json:"media_type,omitempty" maxLength:"100" doc:"Of the bytes, such as application/pdf"`
	Bytes     []byte  `json:"bytes,omitempty" doc:"Base64; up to 10 MiB before encoding"`
}

func (s *server) registerEvidence(api huma.API) {
	huma.Register(api, huma.Operation{OperationID: "attach-evidence", Method: http.MethodPost, Path: "/v1/deviations/{id}/evidence",
		Summary:       "Attach evidence to a lot in doubt or to a portion; proposals that it concerns are to be signed again",
		DefaultStatus: http.StatusCreated, Security: needsPerson(key.DeviationsWrite), MaxBodyBytes: mostEvidence/3*4 + 1<<16}, handle(s, s.attachEvidence))
	huma.Register(api, huma.Operation{OperationID: "get-evidence", Method: http.MethodGet, Path: "/v1/evidence/{sha256}",
		Summary: "The bytes of evidence, as they were attached", Security: needs(key.DeviationsRead), Responses: asFile("*/*")}, handle(s, s.getEvidence))
}

func evidenceBody(e decision.Evidence) EvidenceBody {
	b := EvidenceBody{e.ID, string(e.Kind), e.Kind.Means(), e.Portion == nil, e.Name, orNull(e.Note), nil, clock(e.At), e.By}
	if len(e.Digest) > 0 {
		b.SHA256 = orNull(hex.EncodeToString(e.Digest))
	}
	return b
}

func (s *server) attachEvidence(ctx context.Context, in *struct {
	DeviationPath
	Write
	Body NewEvidenceBody
}) (*struct{ Body EvidenceBody }, error) {
	b := in.Body
	n := workflow.NewEvidence{Portion: b.Portion, Kind: disposition.Evidence(b.Kind), Name: b.Name, Note: b.Note, MediaType: b.MediaType, Bytes: b.Bytes}
	var err error
	if n.Lot, err = exchange.Mark(b.Lot, exchange.Product, "body.lot"); err != nil {
		return nil, err
	}
	if len(b.Bytes) > mostEvidence {
		return nil, newProblem(http.StatusRequestEntityTooLarge, "too-large", "evidence is at most 10 MiB")
	}
	if _, _, err := mime.ParseMediaType(b.MediaType); err != nil && len(b.Bytes) > 0 {
		return nil, fault.New(fault.Invalid, "media-type", "say what the bytes are, such as application/pdf").In("body.media_type")
	}
	e, err := s.svc.AttachEvidence(ctx, scope(ctx, in.IdempotencyKey), workflow.DeviationID(in.ID), n)
	if err != nil {
		return nil, err
	}
	return &struct{ Body EvidenceBody }{evidenceBody(e)}, nil
}

// fileAnswer is a file to be kept and never to be shown as a page of ours: what
// somebody attached may be anything.
type fileAnswer struct {
	ContentType string `header:"Content-Type"`
	Disposition string `header:"Content-Disposition"`
	NoSniff     string `header:"X-Content-Type-Options"`
	Body        []byte
}

func (s *server) getEvidence(ctx context.Context, in *struct {
	SHA256 string `path:"sha256" minLength:"64" maxLength:"64"`
}) (*fileAnswer, error) {
	digest, err := hex.DecodeString(in.SHA256)
	if err != nil {
		return nil, fault.New(fault.Invalid, "bad-digest", "a digest is 64 hexadecimal digits").In("path.sha256")
	}
	p, err := s.svc.EvidenceBytes(ctx, scope(ctx, ""), digest)
	if err != nil {
		return nil, err
	}
	return &fileAnswer{p.MediaType, mime.FormatMediaType("attachment", map[string]string{"filename": in.SHA256}), "nosniff", p.Bytes}, nil
}
