package api

import (
	"encoding/json"
	"net/http"
	"regexp"
	"slices"
	"strings"
	"testing"

	"lastgood/workflow/fault"
)

// TestContractNamesWords: every list of words stands where it should, and what is
// said of it is what is written down.
func TestContractNamesWords(t *testing.T) {
	t.Parallel()
	text, err := json.Marshal(contract())
	if err != nil {
		t.Fatal(err)
	}
	var doc struct {
		Paths map[string]map[string]struct {
			Parameters []struct {
				Name, In string
				Required bool
				Schema   map[string]any
			}
		}
		Components struct {
			Schemas map[string]struct{ Properties map[string]map[string]any }
		}
	}
	if err := json.Unmarshal(text, &doc); err != nil {
		t.Fatal(err)
	}
	for at, words := range wordLists() {
		owner, member, _ := strings.Cut(at, ".")
		said := doc.Components.Schemas[owner].Properties[member]
		if owner == "get-record" {
			for _, p := range doc.Paths["/v1/records/{kind}/{id}"]["get"].Parameters {
				if p.Name == member {
					said = p.Schema
				}
			}
		}
		if items, ok := said["items"].(map[string]any); ok {
			said = items
		}
		list, _ := said["enum"].([]any)
		if len(list) == 0 || len(list) != len(words) || list[0] != words[0] {
			t.Errorf("%s says %v, and there are %v", at, list, words)
		}
	}
	needed := 0
	for path, item := range doc.Paths {
		for method, op := range item {
			for _, p := range op.Parameters {
				if p.Name == "If-Match" {
					if p.Required != (path != "/v1/policy") {
						t.Errorf("%s %s: If-Match is required: %t", method, path, p.Required)
					}
					needed++
				}
			}
		}
	}
	if needed < 3 {
		t.Errorf("only %d operations know If-Match", needed)
	}
	for name := range doc.Components.Schemas {
		if regexp.MustCompile(`^Item|\d$`).MatchString(name) {
			t.Errorf("%s names nothing", name)
		}
	}
}

// TestIfMatchIsMissed: what is required and missing is 428, as the contract says.
func TestIfMatchIsMissed(t *testing.T) {
	t.Parallel()
	p := newCase(t)
	res, body := p.call("POST", "/v1/holds/1/acknowledgement", `{"counted_quantity":"1","quantity_unit":"kg"}`)
	p.refused(res, body, http.StatusPreconditionRequired, "precondition-required")
}

// TestFieldsAreNamedByTheirPlace: what the engine calls x is path.x, query.x or
// body.x of the request.
func TestFieldsAreNamedByTheirPlace(t *testing.T) {
	t.Parallel()
	type request struct {
		DispositionPath
		Paging
		Body struct{ Reason string }
	}
	for field, want := range map[string]string{"id": "path.id", "cursor": "query.cursor", "reason": "body.reason", "items[1].lot": "body.items[1].lot",
		"body.reason": "body.reason", "body/items/0": "body/items/0", "path.id": "path.id", "": ""} {
		f, ok := inRequest[request](fault.New(fault.Invalid, "a-rule", "a sentence").In(field)).(*fault.Error)
		if !ok || f.Field != want {
			t.Errorf("%s stands at %v, want %s", field, f, want)
		}
	}
}

// TestRefusalsNameTheirPlace, and list the words that there are.
func TestRefusalsNameTheirPlace(t *testing.T) {
	t.Parallel()
	p, as := decidable(t)
	for _, c := range []struct {
		method, path, body, rule, at, word string
		status                             int
	}{
		{"GET", "/v1/records/opinion/1", "", "unknown-record", "path.kind", "disposition, execution, lift", 404},
		{"POST", "/v1/deviations/1/reopening", `{"trigger":"a whim","reason":"a letter"}`, "unknown-word", "body.trigger", "reference_found_bad, late_record", 422},
		{"POST", "/v1/deviations/1/evidence", `{"lot":"L-2","kind":"a hunch","name":"n","note":"n"}`, "unknown-word", "body.kind", "downstream_step, authority_report", 422},
	} {
		res, body := as("lead").call(c.method, c.path, c.body)
		doc := p.refused(res, body, c.status, c.rule)
		if len(doc.Errors) != 1 || doc.Errors[0].Location != c.at || !strings.Contains(doc.Detail, c.word) || strings.Contains(doc.Detail, "[") {
			t.Errorf("%s %s: %s", c.method, c.path, body)
		}
	}
	r := p.proposed(as("lead"))
	var list Page[PortionStory]
	p.get("/v1/deviations/1/portions", &list)
	i := slices.IndexFunc(list.Items, func(s PortionStory) bool { return s.Lot == "L-2" })
	if o := list.Items[i].Options[0]; len(o.Afterwards) == 0 || !slices.Equal(o.Signers, r.Seats) {
		t.Errorf("offered %+v, and the record has %+v", o, r.Seats)
	}
}
