package api

import (
	"context"
	"errors"
	"fmt"
	"net/http"

	"github.com/danielgtaylor/huma/v2"

	"lastgood/policy/disposition"
	"lastgood/workflow"
	"lastgood/workflow/fault"
	"lastgood/workflow/key"
	"lastgood/workflow/signoff"
)

// recordsSign is the scope of those who sign something; no key has it.
const recordsSign key.Scope = "records:sign"

// ToSignBody names a record as it was shown to whoever signs it.
type ToSignBody struct {
	Kind   string `json:"kind" maxLength:"50"`
	ID     int64  `json:"id" minimum:"1"`
	SHA256 string `json:"sha256" minLength:"64" maxLength:"64" doc:"Of the version that was shown: one that has changed since is refused"`
}

func (s *server) registerSignatures(api huma.API) {
	huma.Register(api, huma.Operation{OperationID: "list-waiting-records", Method: http.MethodGet, Path: "/v1/signatures/waiting",
		Summary:  "Records that wait for a role in which you may act now, the longest waiting first",
		Security: needsPerson(recordsSign)}, handle(s, s.listWaiting))
	huma.Register(api, huma.Operation{OperationID: "sign-records", Method: http.MethodPost, Path: "/v1/signatures",
		Summary: "Sign records in one role, all of them or none",
		Description: fmt.Sprintf("A signature needs a password given within %.0f minutes: else the answer is 401 with a challenge by RFC 9470, and "+
			"POST /v1/session/confirmation takes the password. When everyone has signed a record, what it is about happens.", workflow.SignsWithin.Minutes()),
		DefaultStatus: http.StatusCreated, Security: needsPerson(recordsSign)}, handle(s, s.signRecords))
}

func (s *server) listWaiting(ctx context.Context, in *struct{ Paging }) (*listed[RecordHead], error) {
	list, err := s.svc.ToBeSigned(ctx, scope(ctx, ""))
	if err != nil {
		return nil, err
	}
	return recordPage(list, in.Paging, "/v1/signatures/waiting")
}

func (s *server) signRecords(ctx context.Context, in *struct {
	Write
	Body struct {
		Role    string       `json:"role" maxLength:"50" doc:"One of your own, or of somebody for whom you stand in"`
		Note    string       `json:"note,omitempty" maxLength:"1000" doc:"Why you sign although you did something else in this deviation, where the rules let you"`
		Records []ToSignBody `json:"records" minItems:"1" maxItems:"100"`
	}
}) (*struct{ Body Page[RecordHead] }, error) {
	list := make([]workflow.ToSign, len(in.Body.Records))
	for i, r := range in.Body.Records {
		list[i] = workflow.ToSign{Kind: signoff.Kind(r.Kind), ID: r.ID, SHA256: r.SHA256}
	}
	signed, err := s.svc.Sign(ctx, scope(ctx, in.IdempotencyKey), disposition.Role(in.Body.Role), in.Body.Note, list)
	if err != nil {
		return nil, rowsIn("body.records", err)
	}
	out := &struct{ Body Page[RecordHead] }{Page[RecordHead]{Items: []RecordHead{}}}
	for _, r := range signed {
		out.Body.Items = append(out.Body.Items, recordHead(r))
	}
	return out, nil
}

// rowsIn tells what is wrong with the rows of a list that is not called items.
func rowsIn(list string, err error) error {
	var rows fault.Rows
	if !errors.As(err, &rows) {
		return err
	}
	p := newProblem(http.StatusUnprocessableEntity, "rows-refused", "some rows are wrong: nothing was written")
	p.Errors = rowFaults(list, rows)
	return p
}
