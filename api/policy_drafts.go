package api

import (
	"context"
	"encoding/hex"
	"fmt"
	"net/http"
	"strconv"

	"github.com/danielgtaylor/huma/v2"
	"github.com/go-json-experiment/json"

	"lastgood/workflow"
	"lastgood/workflow/key"
)

// DraftBody is a policy that was proposed.
type DraftBody struct {
	Draft   int64  `json:"draft"`
	BasedOn int    `json:"based_on_version" doc:"That it would change: on another it is not put in force"`
	SHA256  string `json:"sha256" doc:"Of the text; what is signed has a digest of its own, in record"`
	At      string `json:"proposed_at"`
	By      string `json:"proposed_by" doc:"Counts as an author: never puts it in force"`
	State   string `json:"state" enum:"waits,adopted,outdated,moved_on" doc:"waits: for signatures. adopted: it was put in force. outdated: a newer draft took its place. moved_on: another version is in force than it would change"`
	Version *int   `json:"version" doc:"As which it was put in force; null: it was not"`
	// As they were signed.
	Changes  []ChangeBody `json:"changes" doc:"Against the version that it is based on, by what the documents say: layout is no change"`
	Rerouted int          `json:"open_deviations_routed_otherwise" doc:"With a lot that its rules would have routed otherwise, on the facts as they were recorded when it was proposed; limits were not evaluated again"`
	Record   RecordHead   `json:"record" doc:"Who has to sign: POST /v1/signatures with its kind, id and sha256"`
}

// ChangeBody is one thing that a draft says otherwise.
type ChangeBody struct {
	Part   string  `json:"part" example:"limits" doc:"A key of the document"`
	Name   *string `json:"name" doc:"Of the limit or the rule; null: the part as a whole"`
	Change string  `json:"change" enum:"added,removed,changed,reordered"`
	Was    any     `json:"was" doc:"As it is written in the version that it is based on; of a limit, all its versions; null: not there"`
	Now    any     `json:"now" doc:"As it is written in the draft; null: not there"`
}

// DraftTextBody is a draft with its text.
type DraftTextBody struct {
	DraftBody
	Text string `json:"text" doc:"YAML, as it was proposed"`
}

func (s *server) registerPolicyDrafts(api huma.API) {
	// Who only signs sees what there is to sign.
	readers := append(needs(key.FactsRead), needsPerson(recordsSign)...)
	huma.Register(api, huma.Operation{OperationID: "list-policy-drafts", Method: http.MethodGet, Path: "/v1/policy/drafts",
		Summary: "Policies that were proposed, and what has become of them", Security: readers}, handle(s, s.listPolicyDrafts))
	huma.Register(api, huma.Operation{OperationID: "get-policy-draft", Method: http.MethodGet, Path: "/v1/policy/drafts/{id}",
		Summary: "A policy that was proposed, with its text and who has to sign it", Security: readers}, handle(s, s.getPolicyDraft))
}

func draftPath(id int64) string { return fmt.Sprintf("/v1/policy/drafts/%d", id) }

func draftBody(d workflow.PolicyDraft) (DraftBody, error) {
	var signed struct {
		Changes  []ChangeBody `json:"changes"`
		Rerouted int          `json:"open_deviations_routed_otherwise"`
	}
	err := json.Unmarshal(d.Record.What, &signed)
	return DraftBody{Draft: d.ID, BasedOn: d.BasedOn, SHA256: hex.EncodeToString(d.Digest), At: clock(d.ProposedAt), By: d.ProposedBy, State: string(d.State),
		Version: d.Version, Changes: append([]ChangeBody{}, signed.Changes...), Rerouted: signed.Rerouted, Record: recordHead(d.Record)}, err
}

func (s *server) listPolicyDrafts(ctx context.Context, in *struct{ Paging }) (*listed[DraftBody], error) {
	after, err := in.afterNumber()
	if err != nil {
		return nil, err
	}
	list, err := s.svc.PolicyDrafts(ctx, scope(ctx, ""), after, in.Limit+1)
	if err != nil {
		return nil, err
	}
	items := make([]DraftBody, len(list))
	for i, d := range list {
		if items[i], err = draftBody(d); err != nil {
			return nil, err
		}
	}
	return page(items, in.Paging, "/v1/policy/drafts", nil, func(d DraftBody) string { return strconv.FormatInt(d.Draft, 10) }), nil
}

func (s *server) getPolicyDraft(ctx context.Context, in *struct {
	ID int64 `path:"id" minimum:"1"`
}) (*struct{ Body DraftTextBody }, error) {
	d, err := s.svc.PolicyDraft(ctx, scope(ctx, ""), in.ID)
	if err != nil {
		return nil, err
	}
	b, err := draftBody(d)
	return &struct{ Body DraftTextBody }{DraftTextBody{b, string(d.Text)}}, err
}
