package api

import (
	"reflect"

	"github.com/danielgtaylor/huma/v2"
)

// describeFailures says of every operation that whatever else it answers is a
// problem document: huma leaves that out where an operation lists answers of its
// own.
func describeFailures(doc *huma.OpenAPI) {
	problem := doc.Components.Schemas.Schema(reflect.TypeFor[Problem](), true, "")
	for _, item := range doc.Paths {
		for _, op := range []*huma.Operation{item.Get, item.Put, item.Post, item.Delete, item.Patch} {
			if op == nil || op.Responses["default"] != nil {
				continue
			}
			op.Responses["default"] = &huma.Response{Description: "Error",
				Content: map[string]*huma.MediaType{"application/problem+json": {Schema: problem}}}
		}
	}
}
