package api

import (
	"errors"
	"fmt"
	"io"
	"mime"
	"slices"

	"github.com/danielgtaylor/huma/v2"
	"github.com/go-json-experiment/json"
	"github.com/go-json-experiment/json/jsontext"
)

// strictJSON is JSON as the interface reads and writes it: names stand once, in
// their exact case, and strings are UTF-8.
var strictJSON = huma.Format{
	Marshal:   func(w io.Writer, v any) error { return json.MarshalWrite(w, v) },
	Unmarshal: func(b []byte, v any) error { return inWords(json.Unmarshal(b, v)) },
}

// inWords says what is wrong with a body without the words of the program: huma
// hands the text of this error on.
func inWords(err error) error {
	var syntax *jsontext.SyntacticError
	var meaning *json.SemanticError
	switch {
	case err == nil:
		return nil
	case errors.As(err, &syntax) && errors.Is(err, jsontext.ErrDuplicateName):
		return fmt.Errorf("the member %s stands twice", syntax.JSONPointer)
	case errors.As(err, &syntax) && errors.Is(err, io.ErrUnexpectedEOF):
		return errors.New("the body ends before its JSON does")
	case errors.As(err, &syntax):
		return fmt.Errorf("the body is not JSON: %w at byte %d", syntax.Err, syntax.ByteOffset+1)
	case errors.As(err, &meaning):
		return fmt.Errorf("the member %s cannot be a %s, or not this one", meaning.JSONPointer, kindName(meaning.JSONKind))
	}
	return errors.New("the body is not JSON")
}

func kindName(k jsontext.Kind) string {
	switch k {
	case jsontext.KindNull:
		return "null"
	case jsontext.KindTrue, jsontext.KindFalse:
		return "true or false"
	case jsontext.KindString:
		return "string"
	case jsontext.KindNumber:
		return "number"
	case jsontext.KindBeginArray, jsontext.KindEndArray:
		return "list"
	}
	return "object"
}

// ofType says whether a request's body is of one of the media types.
func ofType(ctx huma.Context, types ...string) bool {
	t, _, err := mime.ParseMediaType(ctx.Header("Content-Type"))
	return err == nil && slices.Contains(types, t)
}
