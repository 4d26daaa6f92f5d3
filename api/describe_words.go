package api

import (
	"strings"

	"github.com/danielgtaylor/huma/v2"

	"lastgood/policy/balance"
	"lastgood/policy/disposition"
	"lastgood/workflow"
	"lastgood/workflow/person"
	"lastgood/workflow/signoff"
)

// wordLists are the words that a member takes or has, by Schema.member; of a
// parameter, by operation.parameter. They come from where the words are decided
// on. The engine refuses others in words of its own, so that huma is not to look
// at them.
func wordLists() map[string][]string {
	states := spell(workflow.States)
	roles, kinds := spell(person.Roles), spell(signoff.Kinds)
	dispositions, fates := spell(disposition.All()), spell(balance.Fates())
	out := map[string][]string{
		"NewReportBody.fate": fates, "ReportBody.fate": fates, "BalanceLine.fate": fates,
		"ProposalBody.disposition": dispositions, "DispositionBody.disposition": dispositions, "OptionBody.disposition": dispositions,
		"PortionDecided.disposition": dispositions, "OptionBody.then": dispositions,
		"NewEvidenceBody.kind": spell(workflow.Attachable()), "EvidenceBody.kind": spell(disposition.Kinds()), "NeedBody.one_of": spell(disposition.Kinds()),
		"RecordHead.kind": kinds, "RecordBody.kind": kinds, "ToSignBody.kind": kinds, "get-record.kind": kinds,
		"Reopen-deviationRequest.trigger": workflow.Triggers,
		"DeviationHead.state":             states, "DeviationBody.state": states, "DeviationResult.state": states,
	}
	for _, schema := range []string{"ActingBody", "Delegate-roleRequest", "GrantBody", "RoleBody", "SeatBody", "Sign-recordsRequest", "SignatureBody", "SignatureResult"} {
		out[schema+".role"] = roles
	}
	return out
}

// describeWords says which words there are.
func describeWords(doc *huma.OpenAPI) {
	for at, words := range wordLists() {
		owner, member, _ := strings.Cut(at, ".")
		if schema := doc.Components.Schemas.Map()[owner]; schema != nil {
			oneOf(schema.Properties[member], words)
		}
	}
	for _, op := range each(doc) {
		for _, p := range op.Parameters {
			if words := wordLists()[op.OperationID+"."+p.Name]; words != nil {
				oneOf(p.Schema, words)
			}
		}
	}
}

// oneOf says it of a word or of a list of words. An extension is written down as
// any member is, and nothing is checked by it.
func oneOf(schema *huma.Schema, words []string) {
	if schema == nil {
		return
	}
	if schema.Items != nil {
		schema = schema.Items
	}
	schema.Extensions = map[string]any{"enum": words}
}
