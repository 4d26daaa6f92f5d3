package api

import (
	"bytes"
	"encoding/json"
	"flag"
	"net/http"
	"os"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/danielgtaylor/huma/v2"
	"github.com/go-json-experiment/json/jsontext"
)

var update = flag.Bool("update", false, "write the golden files anew")

const goldenContract = "../testdata/golden/openapi.json"

// contract describes what is offered.
func contract() *huma.OpenAPI { return (&server{}).routes(http.NewServeMux()).OpenAPI() }

// operation is one line of the contract.
type operation struct {
	*huma.Operation
}

// operations returns everything that the contract offers, in order of path.
func operations(doc *huma.OpenAPI) []operation {
	var out []operation
	for _, item := range doc.Paths {
		for _, op := range []*huma.Operation{item.Get, item.Put, item.Post, item.Delete, item.Patch} {
			if op != nil {
				out = append(out, operation{op})
			}
		}
	}
	slices.SortFunc(out, func(a, b operation) int { return strings.Compare(a.Path+a.Method, b.Path+b.Method) })
	return out
}

var placeholder = regexp.MustCompile(`\{[a-z_]+\}`)

// example returns a request that reaches an operation's door: paths filled in,
// what must be in the query there, and a body of a media type that it takes.
func (o operation) example() (path, body string, headers []string) {
	path = placeholder.ReplaceAllString(o.Path, "1")
	sep := "?"
	for _, q := range o.Parameters {
		if q.In == "query" && q.Required {
			path, sep = path+sep+q.Name+"=1", "&"
		}
	}
	if o.RequestBody != nil {
		var types []string
		for t := range o.RequestBody.Content {
			types = append(types, t)
		}
		slices.Sort(types)
		body, headers = "{}", []string{"Content-Type", types[0]}
	}
	return path, body, append(headers, "If-Match", `"v1"`)
}

// conforms holds an answer to the contract: the operation names its status, or
// has a default, its media type, and the body is of the schema.
func conforms(t *testing.T, doc *huma.OpenAPI, op operation, res *http.Response, body string) {
	t.Helper()
	said := op.Responses[strconv.Itoa(res.StatusCode)]
	if said == nil {
		said = op.Responses["default"]
	}
	if said == nil {
		t.Errorf("%s: the contract knows no answer %d", op.OperationID, res.StatusCode)
		return
	}
	media := said.Content[res.Header.Get("Content-Type")]
	if media == nil {
		t.Errorf("%s: the contract knows no %q for %d", op.OperationID, res.Header.Get("Content-Type"), res.StatusCode)
		return
	}
	if media.Schema.Format == "binary" { // a file
		return
	}
	var v any
	if err := json.Unmarshal([]byte(body), &v); err != nil {
		t.Errorf("%s: %v", op.OperationID, err)
		return
	}
	var found huma.ValidateResult
	huma.Validate(doc.Components.Schemas, media.Schema, huma.NewPathBuffer(nil, 0), huma.ModeReadFromServer, v, &found)
	for _, err := range found.Errors {
		t.Errorf("%s answers %d outside the contract: %v\n%s", op.OperationID, res.StatusCode, err, body)
	}
}

func TestContractIsGolden(t *testing.T) {
	t.Parallel()
	p := newPlant(t)
	res, body := p.call("GET", "/openapi.json", "", "Authorization", "")
	if res.StatusCode != http.StatusOK {
		t.Fatalf("%d %s", res.StatusCode, body)
	}
	v := jsontext.Value(body)
	if err := v.Indent(jsontext.WithIndent("  ")); err != nil {
		t.Fatal(err)
	}
	got := append(v, '\n')
	if *update {
		if err := os.WriteFile(goldenContract, got, 0o644); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(goldenContract)
	if err != nil {
		t.Fatal(err)
	}
	if !bytes.Equal(got, want) {
		t.Error("the contract has changed: look at what, then go test ./api -run TestContractIsGolden -update")
	}
}

// openOperations ask for no scope: the first two prove somebody by what stands in
// the body, the others are about the caller's own session.
var openOperations = []string{"sign-in", "set-password", "get-session", "confirm-session", "sign-out"}

// asksForNothing says whether an operation has a way in without a scope.
func asksForNothing(op operation) bool {
	return len(op.Security) == 0 || slices.ContainsFunc(op.Security, func(way map[string][]string) bool {
		return len(way[scheme])+len(way[sessionScheme]) == 0
	})
}

// TestContractHangsTogether: every reference leads somewhere, every placeholder
// is a parameter, and every operation asks for a scope and describes its problems.
func TestContractHangsTogether(t *testing.T) {
	t.Parallel()
	doc := contract()
	text, err := json.Marshal(doc)
	if err != nil {
		t.Fatal(err)
	}
	for _, m := range regexp.MustCompile(`"\$ref":"#/components/schemas/([^"]+)"`).FindAllSubmatch(text, -1) {
		if doc.Components.Schemas.Map()[string(m[1])] == nil {
			t.Errorf("nothing is called %s", m[1])
		}
	}
	ids := map[string]bool{}
	for _, op := range operations(doc) {
		if ids[op.OperationID] || op.Summary == "" {
			t.Errorf("%s %s: the id is taken, or it has no summary", op.Method, op.Path)
		}
		ids[op.OperationID] = true
		if asksForNothing(op) != slices.Contains(openOperations, op.OperationID) {
			t.Errorf("%s asks for no scope, or does and should not", op.OperationID)
		}
		for _, name := range placeholder.FindAllString(op.Path, -1) {
			if !slices.ContainsFunc(op.Parameters, func(q *huma.Param) bool { return q.In == "path" && "{"+q.Name+"}" == name }) {
				t.Errorf("%s: nothing describes %s", op.OperationID, name)
			}
		}
		if op.Responses["default"] == nil || op.Responses["default"].Content["application/problem+json"] == nil {
			t.Errorf("%s describes no problem document", op.OperationID)
		}
	}
}
