package exchange

import (
	"strings"
	"sync/atomic"

	"github.com/go-json-experiment/json/jsontext"
)

// Object is a thing of a data file as the API takes it, and the lines that it
// stood on: one for each of its points, or one.
type Object struct {
	File  string
	Lines []int
	JSON  jsontext.Value
}

// Objects returns what a data file of a folder says as objects for the API, in
// the order of the file: one for each row; one for each check or certificate,
// with its rows as points. The folder is one that Read found no problem in.
func Objects(dir, name string) []Object {
	s := find(dir).sources[name]
	if s.name == "" {
		return nil
	}
	t := tableNamed(name)
	keys := keysOf(t)
	var out []Object
	at := map[string]int{}
	for r := range s.records(t, new(atomic.Int64)) {
		if len(r.bad) > 0 {
			continue
		}
		text := r.object()
		if keys == nil {
			out = append(out, Object{r.file, []int{r.line}, text})
			continue
		}
		var id []string
		for _, k := range keys {
			id = append(id, r.raw(k))
		}
		key := strings.Join(id, "\x00")
		i, there := at[key]
		if !there {
			i = len(out)
			at[key] = i
			out = append(out, Object{File: r.file, JSON: jsontext.Value(`{"points":[`)})
		} else {
			out[i].JSON = append(out[i].JSON, ',')
		}
		out[i].Lines = append(out[i].Lines, r.line)
		out[i].JSON = append(out[i].JSON, text...)
	}
	if keys != nil {
		for i := range out {
			out[i].JSON = append(out[i].JSON, "]}"...)
		}
	}
	return out
}

// keysOf returns the columns that rows of one thing have in common; nil where
// every row is a thing of its own.
func keysOf(t table) []string {
	switch t.name {
	case checkTable.name:
		return []string{"instrument", "performed_at"}
	case certificateTable.name:
		return []string{"instrument", "certificate"}
	}
	return nil
}

func tableNamed(name string) table {
	for _, t := range tables {
		if t.name == name {
			return t
		}
	}
	return table{}
}

// object is the row as an object of text members; what is unknown is left out.
func (r *record) object() jsontext.Value {
	b := []byte{'{'}
	for i, c := range r.columns {
		if r.value[i] == "" {
			continue
		}
		if len(b) > 1 {
			b = append(b, ',')
		}
		b, _ = jsontext.AppendQuote(b, c) // the text was checked to be UTF-8 when it was read
		b = append(b, ':')
		b, _ = jsontext.AppendQuote(b, r.value[i])
	}
	return append(b, '}')
}
