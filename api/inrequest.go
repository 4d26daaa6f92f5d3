package api

import (
	"errors"
	"reflect"
	"strings"

	"lastgood/workflow/fault"
)

// inRequest says of a field that the engine found at fault where it stands in a
// request of the type I: path.x, query.x, or else body.x. The engine names what it
// was given and knows of no request.
func inRequest[I any](err error) error {
	var f *fault.Error
	if !errors.As(err, &f) || f.Field == "" {
		return err
	}
	name := f.Field
	if i := strings.IndexAny(name, ".[/"); i >= 0 {
		name = name[:i]
	}
	switch name {
	case "body", "path", "query", "header":
		return err
	}
	return f.In(partOf(reflect.TypeFor[I](), name) + "." + f.Field)
}

// partOf is the part of a request in which a field stands.
func partOf(t reflect.Type, name string) string {
	if t.Kind() != reflect.Struct {
		return "body"
	}
	for _, f := range reflect.VisibleFields(t) {
		for _, part := range []string{"path", "query"} {
			if f.Tag.Get(part) == name {
				return part
			}
		}
	}
	return "body"
}
