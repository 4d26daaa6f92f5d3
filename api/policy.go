package api

import (
	"context"
	"fmt"
	"net/http"

	"github.com/danielgtaylor/huma/v2"

	"lastgood/policy/document"
	"lastgood/policy/limit"
	"lastgood/workflow/key"
)

// PolicyBody is the policy in force.
type PolicyBody struct {
	Version int         `json:"version"`
	Text    string      `json:"text" doc:"YAML, as it was put in force"`
	Limits  []LimitBody `json:"limits"`
}

// LimitBody is one version of a critical limit.
type LimitBody struct {
	Limit      string  `json:"limit"`
	Kind       string  `json:"kind"`
	Text       string  `json:"text"`
	Hazard     string  `json:"hazard"`
	ValidFrom  *string `json:"valid_from"`
	ValidUntil *string `json:"valid_until"`
}

type policyAnswer struct {
	ETag string `header:"ETag"`
	Body PolicyBody
}

func (s *server) registerPolicy(api huma.API) {
	huma.Register(api, huma.Operation{OperationID: "get-policy", Method: http.MethodGet, Path: "/v1/policy",
		Summary: "The policy in force, with its limits", Security: needs(key.FactsRead)}, handle(s, s.getPolicy))
	huma.Register(api, huma.Operation{OperationID: "list-limits", Method: http.MethodGet, Path: "/v1/limits",
		Summary: "The critical limits of the policy in force", Security: needs(key.FactsRead)}, handle(s, s.listLimits))
	huma.Register(api, huma.Operation{OperationID: "put-policy", Method: http.MethodPut, Path: "/v1/policy",
		Summary: "Put a policy in force; the text in force already changes nothing", Security: needs(key.PolicyWrite), MaxBodyBytes: s.MaxBody,
		RequestBody: yamlBody()}, handle(s, s.putPolicy))
}

func yamlBody() *huma.RequestBody {
	return &huma.RequestBody{Required: true, Content: map[string]*huma.MediaType{"application/yaml": {Schema: &huma.Schema{Type: "string"}}}}
}

func (s *server) getPolicy(ctx context.Context, _ *struct{}) (*policyAnswer, error) {
	p, err := s.svc.CurrentPolicy(ctx, scope(ctx, ""))
	if err != nil {
		return nil, err
	}
	return &policyAnswer{ETag: etag(p.Version), Body: PolicyBody{p.Version, string(p.Text), limitBodies(p.Limits)}}, nil
}

func limitBodies(limits []limit.Limit) []LimitBody {
	out := make([]LimitBody, len(limits))
	for i, l := range limits {
		out[i] = LimitBody{l.Name, l.Kind, l.Text, l.Hazard, clockOr(l.ValidFrom), clockOr(l.ValidUntil)}
	}
	return out
}

// listLimits is the policy's limits without its text, on one page: a policy has
// no more of them than fit.
func (s *server) listLimits(ctx context.Context, _ *struct{}) (*struct{ Body Page[LimitBody] }, error) {
	p, err := s.svc.CurrentPolicy(ctx, scope(ctx, ""))
	if err != nil {
		return nil, err
	}
	return &struct{ Body Page[LimitBody] }{Page[LimitBody]{Items: limitBodies(p.Limits)}}, nil
}

type policyInput struct {
	RawBody []byte
}

// Resolve refuses what is not sent as YAML: huma reads no media type of a raw
// body.
func (*policyInput) Resolve(ctx huma.Context) []error {
	if !ofType(ctx, "application/yaml", "application/x-yaml", "text/yaml") {
		return []error{newProblem(http.StatusUnsupportedMediaType, "media-type", "send the policy as application/yaml")}
	}
	return nil
}

func (s *server) putPolicy(ctx context.Context, in *policyInput) (*policyAnswer, error) {
	if _, problems := document.Parse(in.RawBody); len(problems) > 0 {
		return nil, policyRefused(problems, "nothing was changed")
	}
	if _, err := s.svc.PutPolicy(ctx, scope(ctx, ""), in.RawBody); err != nil {
		return nil, err
	}
	return s.getPolicy(ctx, nil)
}

// policyRefused tells everything that is wrong with a policy, and what that led
// to.
func policyRefused(problems []document.Problem, so string) *Problem {
	p := newProblem(http.StatusUnprocessableEntity, "policy-refused", "the policy has problems: "+so)
	for _, d := range problems {
		p.Errors = append(p.Errors, Fault{Location: d.Path, Line: d.Line, Rule: d.Rule, Detail: fmt.Sprintf("column %d: %s", d.Column, d.Detail)})
	}
	return p
}
