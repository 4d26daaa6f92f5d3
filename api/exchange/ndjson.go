package exchange

import (
	"bufio"
	"bytes"
	"errors"
	"io"
	"slices"
	"unicode/utf8"

	"github.com/go-json-experiment/json/jsontext"
)

// jsonRows cuts text of one JSON object per line. Numbers keep their digits, so
// that 71.50 has two decimals in either form of file.
type jsonRows struct {
	in    *bufio.Scanner
	limit *recordLimit
	line  int
	buf   bytes.Buffer
	dec   *jsontext.Decoder
	name  []byte   // of the present member
	text  []byte   // the values of the present line, one after the other
	spans [][2]int // by column, into text
}

func newJSONRows(in *text) rows {
	j := newObjects()
	j.in, j.limit = bufio.NewScanner(in.Reader), in.limit
	j.in.Buffer(make([]byte, 0, bufferSize), longestRecord)
	return j
}

// newObjects is for objects that do not come in lines.
func newObjects() *jsonRows {
	j := &jsonRows{}
	j.dec = jsontext.NewDecoder(&j.buf)
	return j
}

func newDecoder(text []byte) *jsontext.Decoder { return jsontext.NewDecoder(bytes.NewReader(text)) }

func (j *jsonRows) next(r *record) bool {
	for j.scan() {
		j.line++
		line := bytes.TrimSpace(j.in.Bytes())
		if len(line) == 0 {
			continue
		}
		r.line = j.line
		if !utf8.Valid(line) {
			r.fail("", flawf("not-utf8", "this line is not UTF-8: save the file as UTF-8"))
		} else if err := j.object(r, line); err != nil {
			r.fail(badJSON(err))
		}
		return true
	}
	if err := j.in.Err(); err != nil {
		r.line = j.line + 1
		r.fail("", damaged(err))
	}
	return false
}

// scan moves to the next whole line: the scanner also hands out what it has of
// a line when the file breaks off in its midst.
func (j *jsonRows) scan() bool {
	j.limit.begin()
	return j.in.Scan() && j.in.Err() == nil
}

// object fills r with the members of the object in line.
func (j *jsonRows) object(r *record, line []byte) error {
	j.buf.Reset()
	j.buf.Write(line)
	j.dec.Reset(&j.buf)
	j.text = j.text[:0]
	j.spans = slices.Grow(j.spans[:0], len(r.columns))[:len(r.columns)]
	clear(j.spans)
	if j.dec.PeekKind() != jsontext.KindBeginObject {
		return errNoObject
	}
	if _, err := j.dec.ReadToken(); err != nil {
		return err
	}
	for j.dec.PeekKind() != jsontext.KindEndObject {
		if err := j.member(r); err != nil {
			return err
		}
	}
	if _, err := j.dec.ReadToken(); err != nil {
		return err
	}
	if _, err := j.dec.ReadToken(); err != io.EOF {
		return errNoObject // something stands after it
	}
	j.fill(r)
	return nil
}

var errNoObject = errors.New("it is not one object { … }")

func (j *jsonRows) member(r *record) error {
	name, err := j.dec.ReadValue()
	if err != nil {
		return err
	}
	if j.name, err = jsontext.AppendUnquote(j.name[:0], name); err != nil {
		return err
	}
	value, err := j.dec.ReadValue()
	if err != nil {
		return err
	}
	column := r.column(string(j.name))
	if column < 0 {
		r.fail(string(j.name), r.table.unknownColumn(string(j.name)))
		return nil
	}
	from := len(j.text)
	switch value.Kind() {
	case jsontext.KindNull:
	case jsontext.KindString:
		if j.text, err = jsontext.AppendUnquote(j.text, value); err != nil {
			return err
		}
	case jsontext.KindBeginObject, jsontext.KindBeginArray:
		r.fail(r.columns[column], flawf("not-one-value", "write one value, not a list or an object"))
	default: // a number, true or false: as it is written
		j.text = append(j.text, value...)
	}
	j.spans[column] = [2]int{from, len(j.text)}
	return nil
}

// fill makes one string of the line's values and gives each column its part.
func (j *jsonRows) fill(r *record) {
	all := string(j.text)
	for i, span := range j.spans {
		r.value[i] = all[span[0]:span[1]]
		if f := wellFormed(r.value[i]); f != nil {
			r.fail(r.columns[i], f)
		}
	}
}

// badJSON returns what is wrong with a line that is no JSON object, and the
// member where it is wrong, if it is one.
func badJSON(err error) (column string, f *flaw) {
	var syntax *jsontext.SyntacticError
	if !errors.As(err, &syntax) {
		return "", flawf("bad-json", "this line is not a JSON object: %v", err)
	}
	if errors.Is(err, jsontext.ErrDuplicateName) {
		column = syntax.JSONPointer.LastToken()
		return column, flawf("duplicate-column", "the member %s stands twice on this line", quote(column))
	}
	if errors.Is(err, io.ErrUnexpectedEOF) {
		return "", flawf("bad-json", "this line ends before its JSON object does")
	}
	return "", flawf("bad-json", "this line is not a JSON object: %v at byte %d", syntax.Err, syntax.ByteOffset+1)
}
