package api

import (
	"context"
	"net/http"

	"github.com/danielgtaylor/huma/v2"

	"lastgood/workflow"
	"lastgood/workflow/key"
)

type recallAnswer struct{ Body RecallBody }

func (s *server) registerRecall(api huma.API) {
	read, decide, effect := needs(key.DeviationsRead), needsPerson(key.DeviationsWrite), needsPerson(effectWrite)
	at := func(rest string) string { return "/v1/deviations/{id}/recall" + rest }
	post := func(id, path, summary string, security []map[string][]string) huma.Operation {
		return huma.Operation{OperationID: id, Method: http.MethodPost, Path: at(path), Summary: summary, DefaultStatus: http.StatusCreated, Security: security}
	}
	huma.Register(api, huma.Operation{OperationID: "get-recall", Method: http.MethodGet, Path: at(""),
		Summary: "The recall as it stands: pack, ledger, sample, reports", Security: read}, handle(s, s.getRecall))
	huma.Register(api, post("draw-up-recall", "", "Draw up the pack and put it up for signing, yes or no; the class is the agency's", decide), handle(s, s.drawUpRecall))
	huma.Register(api, post("write-recall-text", "/texts", "Another version of what consignees are told", decide), handle(s, s.writeRecallText))
	huma.Register(api, post("tell-consignees", "/notices", "Record that consignees were told, all of the list or none", decide), handle(s, s.tellConsignees))
	huma.Register(api, post("record-responses", "/responses", "Record what consignees say; a plant's system may", append(needs(key.DeviationsWrite), decide...)), handle(s, s.consigneesAnswered))
	huma.Register(api, post("draw-recall-sample", "/sample", "Draw who is checked, by a seed that is kept", effect), handle(s, s.drawRecallSample))
	huma.Register(api, post("check-consignees", "/checks", "Record effectiveness checks; who fails is told again", effect), handle(s, s.checkConsignees))
	huma.Register(api, post("report-recall-status", "/status-reports", "Make a status report of the ledger and record that it was sent", decide), handle(s, s.reportRecallStatus))
	huma.Register(api, post("record-recall-class", "/class", "Record the class that the agency gave", decide), handle(s, letterOf(s, s.svc.RecordRecallClass)))
	huma.Register(api, post("request-recall-termination", "/termination-request", "Record that the agency was asked to end it", decide), handle(s, letterOf(s, s.svc.RequestRecallTermination)))
	huma.Register(api, post("terminate-recall", "/termination", "Record the agency's reply", decide), handle(s, letterOf(s, s.svc.TerminateRecall)))
	huma.Register(api, huma.Operation{OperationID: "export-consignees-csv", Method: http.MethodGet, Path: at("/ledger.csv"),
		Summary: "The consignee ledger, as RFC 4180", Security: read, Responses: asFile(asCSV)}, handle(s, s.ledgerCSV))
	huma.Register(api, huma.Operation{OperationID: "export-consignees-xlsx", Method: http.MethodGet, Path: at("/ledger.xlsx"),
		Summary: "The consignee ledger as a workbook", Security: read, Responses: asFile(asXLSX)}, handle(s, s.ledgerXLSX))
}

func (s *server) getRecall(ctx context.Context, in *DeviationPath) (*recallAnswer, error) {
	return recalled(s.svc.Recall(ctx, scope(ctx, ""), workflow.DeviationID(in.ID)))
}

// recalled answers with a recall as it stands.
func recalled(k workflow.RecallDesk, err error) (*recallAnswer, error) {
	if err != nil {
		return nil, err
	}
	return &recallAnswer{recallBody(k)}, nil
}
