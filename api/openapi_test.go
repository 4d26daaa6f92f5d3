package api

import (
	"context"
	"os"
	"testing"

	"github.com/getkin/kin-openapi/openapi3"
)

// TestContractIsValid lets an independent reader of OpenAPI 3.1 judge the golden
// document.
func TestContractIsValid(t *testing.T) {
	t.Parallel()
	b, err := os.ReadFile("../testdata/golden/openapi.json")
	if err != nil {
		t.Fatal(err)
	}
	doc, err := openapi3.NewLoader().LoadFromData(b)
	if err != nil {
		t.Fatal(err)
	}
	if err := doc.Validate(context.Background()); err != nil {
		t.Error(err)
	}
	if doc.Paths.Len() < 20 {
		t.Errorf("only %d paths", doc.Paths.Len())
	}
}
