package api

import (
	"context"
	"encoding/hex"
	"errors"
	"fmt"
	"net/http"
	"reflect"
	"strconv"

	"github.com/danielgtaylor/huma/v2"

	"lastgood/policy/document"
	"lastgood/policy/limit"
	"lastgood/workflow"
	"lastgood/workflow/fault"
	"lastgood/workflow/key"
)

// PolicyBody is a version of the policy.
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

// PolicyVersionBody is a version of the policy without its text.
type PolicyVersionBody struct {
	Version int         `json:"version"`
	SHA256  string      `json:"sha256" doc:"Of the text"`
	At      string      `json:"put_in_force_at"`
	By      string      `json:"put_in_force_by" doc:"Whose act it was: of a draft, the last signature"`
	Draft   *int64      `json:"draft" doc:"That it came from; null: the first of the plant, for which nobody has to sign"`
	Record  *RecordHead `json:"record,omitzero" doc:"What was signed, and by whom; left out: nobody had to"`
}

type policyAnswer struct {
	ETag string `header:"ETag"`
	Body PolicyBody
}

func (s *server) registerPolicy(api huma.API) {
	huma.Register(api, huma.Operation{OperationID: "get-policy", Method: http.MethodGet, Path: "/v1/policy",
		Summary: "The policy in force, or an earlier version, with its limits", Security: needs(key.FactsRead)}, handle(s, s.getPolicy))
	huma.Register(api, huma.Operation{OperationID: "list-policy-versions", Method: http.MethodGet, Path: "/v1/policy/versions",
		Summary: "Every version of the policy, when it was put in force and who signed it", Security: needs(key.FactsRead)}, handle(s, s.listPolicyVersions))
	huma.Register(api, huma.Operation{OperationID: "list-limits", Method: http.MethodGet, Path: "/v1/limits",
		Summary: "The critical limits of the policy in force", Security: needs(key.FactsRead)}, handle(s, s.listLimits))
	huma.Register(api, huma.Operation{OperationID: "put-policy", Method: http.MethodPut, Path: "/v1/policy",
		Summary: "Put the first policy in force, or propose another for two people to sign",
		Description: "The first policy of a plant goes in force at once, and the text in force already changes nothing: 200. Any other text is a draft that " +
			"waits for two people, neither of whom may be its proposer where they put it in force: 202. It needs If-Match with the ETag of the policy in force.",
		Security: needs(key.PolicyWrite), MaxBodyBytes: s.MaxBody, RequestBody: yamlBody(), Responses: policyResponses(api)}, handle(s, s.putPolicy))
	s.registerPolicyDrafts(api)
}

// policyResponses documents both answers to a policy.
func policyResponses(api huma.API) map[string]*huma.Response {
	r := api.OpenAPI().Components.Schemas
	answer := func(says string, body reflect.Type, headers map[string]*huma.Param) *huma.Response {
		return &huma.Response{Description: says, Headers: headers, Content: map[string]*huma.MediaType{"application/json": {Schema: huma.SchemaFromType(r, body)}}}
	}
	return map[string]*huma.Response{
		strconv.Itoa(http.StatusOK): answer("In force", reflect.TypeFor[PolicyBody](),
			map[string]*huma.Param{"ETag": {Schema: &huma.Schema{Type: huma.TypeString}}}),
		strconv.Itoa(http.StatusAccepted): answer("A draft that waits for signatures", reflect.TypeFor[DraftBody](),
			map[string]*huma.Param{"Location": {Schema: &huma.Schema{Type: huma.TypeString}}}),
	}
}

func yamlBody() *huma.RequestBody {
	return &huma.RequestBody{Required: true, Content: map[string]*huma.MediaType{"application/yaml": {Schema: &huma.Schema{Type: "string"}}}}
}

func (s *server) getPolicy(ctx context.Context, in *struct {
	Version int `query:"version" minimum:"1" maximum:"2147483647" doc:"The one in force if left out"`
}) (*policyAnswer, error) {
	var p workflow.PolicyInForce
	var err error
	if in.Version > 0 {
		p, err = s.svc.PolicyAt(ctx, scope(ctx, ""), in.Version)
	} else {
		p, err = s.svc.CurrentPolicy(ctx, scope(ctx, ""))
	}
	if err != nil {
		return nil, err
	}
	return &policyAnswer{etag(p.Version), policyBody(p)}, nil
}

func policyBody(p workflow.PolicyInForce) PolicyBody {
	return PolicyBody{p.Version, string(p.Text), limitBodies(p.Limits)}
}

func limitBodies(limits []limit.Limit) []LimitBody {
	out := make([]LimitBody, len(limits))
	for i, l := range limits {
		out[i] = LimitBody{l.Name, l.Kind, l.Text, l.Hazard, clockOr(l.ValidFrom), clockOr(l.ValidUntil)}
	}
	return out
}

func (s *server) listPolicyVersions(ctx context.Context, in *struct{ Paging }) (*listed[PolicyVersionBody], error) {
	after, err := in.afterNumber()
	if err != nil {
		return nil, err
	}
	list, err := s.svc.PolicyVersions(ctx, scope(ctx, ""), after, in.Limit+1)
	if err != nil {
		return nil, err
	}
	items := make([]PolicyVersionBody, len(list))
	for i, v := range list {
		items[i] = PolicyVersionBody{v.Number, hex.EncodeToString(v.Digest), clock(v.At), v.By, v.Draft, recordOrNull(v.Record)}
	}
	return page(items, in.Paging, "/v1/policy/versions", nil, func(v PolicyVersionBody) string { return strconv.Itoa(v.Version) }), nil
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

// putAnswer is a policy in force or a draft of one.
type putAnswer struct {
	Status   int
	ETag     string `header:"ETag"`
	Location string `header:"Location"`
	Body     any    // PolicyBody or DraftBody
}

// putPolicy asks for If-Match only where something would change: the text that is
// in force already is what whoever sends it wants (RFC 9110, 13.1.1).
func (s *server) putPolicy(ctx context.Context, in *struct {
	policyInput
	Seen
}) (*putAnswer, error) {
	if _, problems := document.Parse(in.RawBody); len(problems) > 0 {
		return nil, policyRefused(problems, "nothing was changed")
	}
	version, err := s.svc.PutPolicy(ctx, scope(ctx, ""), in.RawBody)
	var f *fault.Error
	if errors.As(err, &f) && f.Rule == "second-person-required" {
		return s.proposePolicy(ctx, in.RawBody, in.Seen)
	}
	if err != nil {
		return nil, err
	}
	p, err := s.svc.PolicyAt(ctx, scope(ctx, ""), version)
	if err != nil {
		return nil, err
	}
	return &putAnswer{Status: http.StatusOK, ETag: etag(p.Version), Body: policyBody(p)}, nil
}

func (s *server) proposePolicy(ctx context.Context, text []byte, looked Seen) (*putAnswer, error) {
	seen, err := looked.version()
	if err != nil {
		return nil, err
	}
	r, err := s.svc.ProposePolicy(ctx, scope(ctx, ""), text, seen)
	if err != nil {
		return nil, err
	}
	d, err := s.svc.PolicyDraft(ctx, scope(ctx, ""), r.ID)
	if err != nil {
		return nil, err
	}
	b, err := draftBody(d)
	return &putAnswer{Status: http.StatusAccepted, Location: draftPath(d.ID), Body: b}, err
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
