package api

import (
	"errors"
	"fmt"
	"io"
	"mime"
	"net/url"
	"slices"
	"strings"
	"unicode"
	"unicode/utf8"

	"github.com/danielgtaylor/huma/v2"
	"github.com/go-json-experiment/json"
	"github.com/go-json-experiment/json/jsontext"
)

// strictJSON is JSON as the interface reads and writes it: names stand once, in
// their exact case, and strings are UTF-8. What is written is made UTF-8, so
// that a sentence which quotes a caller's bytes still gets out.
var strictJSON = huma.Format{
	Marshal:   func(w io.Writer, v any) error { return json.MarshalWrite(w, v, jsontext.AllowInvalidUTF8(true)) },
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

// printable says whether an address is text: the database keeps nothing else.
func printable(u *url.URL) bool {
	query, err := url.QueryUnescape(u.RawQuery)
	all := u.Path + query
	return err == nil && utf8.ValidString(all) && !strings.ContainsFunc(all, unicode.IsControl)
}

// ofType says whether a request's body is of one of the media types.
func ofType(ctx huma.Context, types ...string) bool {
	t, _, err := mime.ParseMediaType(ctx.Header("Content-Type"))
	return err == nil && slices.Contains(types, t)
}
