package api

import (
	"reflect"
	"strings"

	"github.com/danielgtaylor/huma/v2"
)

// describeFailures says of every operation that whatever else it answers is a
// problem document: huma leaves that out where an operation lists answers of its
// own.
func describeFailures(doc *huma.OpenAPI) {
	problem := doc.Components.Schemas.Schema(reflect.TypeFor[Problem](), true, "")
	for _, op := range each(doc) {
		if op.Responses["default"] != nil {
			continue
		}
		op.Responses["default"] = &huma.Response{Description: "Error",
			Content: map[string]*huma.MediaType{"application/problem+json": {Schema: problem}}}
	}
}

// each returns every operation.
func each(doc *huma.OpenAPI) []*huma.Operation {
	var out []*huma.Operation
	for _, item := range doc.Paths {
		for _, op := range []*huma.Operation{item.Get, item.Put, item.Post, item.Delete, item.Patch} {
			if op != nil {
				out = append(out, op)
			}
		}
	}
	return out
}

// describeIfMatch says where nothing is done without If-Match. huma is not to look
// at it: it would answer 422, and RFC 6585 has 428 for that.
func describeIfMatch(doc *huma.OpenAPI) {
	for _, op := range each(doc) {
		for _, p := range op.Parameters {
			if p.In == "header" && p.Name == "If-Match" && op.OperationID != mayLackIfMatch {
				p.Required = true
			}
		}
	}
}

// mayLackIfMatch asks for If-Match only where something would change.
const mayLackIfMatch = "put-policy"

// describeNulls says of every member that is a thing or nothing that null may stand
// there: huma leaves that out of what a pointer refers to.
func describeNulls(doc *huma.OpenAPI) {
	schemas := doc.Components.Schemas
	for name, schema := range schemas.Map() {
		if t := schemas.TypeFromRef("#/components/schemas/" + name); t != nil {
			orNothing(t, schema)
		}
	}
}

// orNothing looks at the members of a type, those of what it is made of among them.
func orNothing(t reflect.Type, schema *huma.Schema) {
	for t.Kind() == reflect.Pointer {
		t = t.Elem()
	}
	if t.Kind() != reflect.Struct {
		return
	}
	for i := range t.NumField() {
		f := t.Field(i)
		if f.Anonymous {
			orNothing(f.Type, schema)
			continue
		}
		name, more, _ := strings.Cut(f.Tag.Get("json"), ",")
		said := schema.Properties[name]
		if said == nil || said.Ref == "" || f.Type.Kind() != reflect.Pointer || strings.HasPrefix(more, "omit") {
			continue
		}
		nothing := &huma.Schema{Type: "null", Enum: []any{nil}}
		nothing.PrecomputeMessages()
		schema.Properties[name] = &huma.Schema{AnyOf: []*huma.Schema{{Ref: said.Ref}, nothing}, Description: said.Description}
	}
}
