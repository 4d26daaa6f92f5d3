package exchange

import (
	"cmp"
	"errors"
	"fmt"
	"io"
	"slices"
	"time"

	"github.com/go-json-experiment/json/jsontext"

	"lastgood/workflow/fault"
	"lastgood/workflow/instrument"
	"lastgood/workflow/lot"
)

// What comes in as JSON objects, over the API, has the names of the files'
// columns and goes through the same decoders. What the files say in one row per
// point, an object says once, with a list called points. The faults are by
// object and point.

// Time reads a time as every time is read here: RFC 3339 with an offset.
func Time(s string) (time.Time, *fault.Error) {
	t, f := parseTime(s)
	if f != nil {
		return t, fault.New(fault.Invalid, f.rule, "%s", f.detail)
	}
	return t, nil
}

// Instruments decodes instruments.
func Instruments(items []jsontext.Value) ([]instrument.Instrument, fault.Rows) {
	return decodeItems(items, instrumentTable, decodeInstrument)
}

// Events decodes what happened to instruments.
func Events(items []jsontext.Value) ([]instrument.Event, fault.Rows) {
	return decodeItems(items, eventTable, decodeEvent)
}

// ClockOffsets decodes by how much recorders' clocks were wrong.
func ClockOffsets(items []jsontext.Value) ([]instrument.ClockOffset, fault.Rows) {
	return decodeItems(items, clockOffsetTable, decodeClockOffset)
}

// Mountings decodes where instruments hung.
func Mountings(items []jsontext.Value) ([]instrument.Mounting, fault.Rows) {
	return decodeItems(items, mountingTable, decodeMounting)
}

// Products decodes products.
func Products(items []jsontext.Value) ([]lot.Product, fault.Rows) {
	return decodeItems(items, productTable, decodeProduct)
}

// Lots decodes lots.
func Lots(items []jsontext.Value) ([]lot.Lot, fault.Rows) {
	return decodeItems(items, lotTable, decodeLot)
}

// Stays decodes where lots were.
func Stays(items []jsontext.Value) ([]lot.Stay, fault.Rows) {
	return decodeItems(items, stayTable, decodeStay)
}

// Transformations decodes what was made of what.
func Transformations(items []jsontext.Value) ([]lot.Transformation, fault.Rows) {
	return decodeItems(items, transformationTable, decodeTransformation)
}

// Shipments decodes what has gone.
func Shipments(items []jsontext.Value) ([]lot.Shipment, fault.Rows) {
	return decodeItems(items, shipmentTable, decodeShipment)
}

// Places decodes what locations are.
func Places(items []jsontext.Value) ([]lot.Place, fault.Rows) {
	return decodeItems(items, placeTable, decodePlace)
}

// Cleanouts decodes clean-outs.
func Cleanouts(items []jsontext.Value) ([]lot.Cleanout, fault.Rows) {
	return decodeItems(items, cleanoutTable, decodeCleanout)
}

// Certificates decodes certificates with their points.
func Certificates(items []jsontext.Value) (list []instrument.Certificate, bad fault.Rows) {
	for i, item := range items {
		rows, f := decodeParts(i, item, certificateTable, decodeCertificate)
		bad = append(bad, f...)
		if len(f) > 0 {
			continue
		}
		c := rows[0]
		for n, row := range rows[1:] {
			if p := joinCertificate(&c, row); p != nil {
				bad.AddPart(i, n+1, p.fault())
			}
		}
		slices.SortFunc(c.Value.Points, func(a, b instrument.CertificatePoint) int { return cmp.Compare(a.At, b.At) })
		list = append(list, c.Value)
	}
	return list, bad
}

// Checks decodes checks with their points.
func Checks(items []jsontext.Value) (list []instrument.Check, bad fault.Rows) {
	for i, item := range items {
		rows, f := decodeParts(i, item, checkTable, decodeCheck)
		bad = append(bad, f...)
		if len(f) > 0 {
			continue
		}
		c := newCheckRow(rows[0])
		for n, row := range rows[1:] {
			if p := c.join(row); p != nil {
				bad.AddPart(i, n+1, p.fault())
			}
		}
		list = append(list, c.Value)
	}
	return list, bad
}

// fault returns a problem for those who know the place by number.
func (p *Problem) fault() *fault.Error {
	return fault.New(fault.Invalid, p.Rule, "%s", p.Detail).In(p.Column)
}

func decodeItems[T any](items []jsontext.Value, t table, decode func(*record) T) (list []T, bad fault.Rows) {
	r, j := newRecord("", t), newObjects()
	for i, item := range items {
		v, problems := decodeObject(r, j, item, decode)
		for _, p := range problems {
			bad.Add(i, p.fault())
		}
		list = append(list, v)
	}
	return list, bad
}

func decodeObject[T any](r *record, j *jsonRows, text []byte, decode func(*record) T) (v T, bad []Problem) {
	clear(r.value)
	r.bad = nil
	if err := j.object(r, text); err != nil {
		r.fail(badJSON(err))
	}
	v, _ = decoded(r, decode)
	return v, r.bad
}

// decodeParts decodes an object that has points: a row for each, or one without
// where there is none.
func decodeParts[T any](i int, item jsontext.Value, t table, decode func(*record) T) (rows []Row[T], bad fault.Rows) {
	parts, err := split(item)
	if err != nil {
		bad.Add(i, fault.New(fault.Invalid, "bad-json", "this is no object with a list of points: %v", err))
		return nil, bad
	}
	r, j := newRecord("", t), newObjects()
	for n, part := range parts {
		v, problems := decodeObject(r, j, part, decode)
		for _, p := range problems {
			bad.AddPart(i, n, p.fault())
		}
		rows = append(rows, Row[T]{Value: v})
	}
	return rows, bad
}

// split returns, for each point of an object, the object's own members with the
// point's.
func split(item jsontext.Value) (parts [][]byte, err error) {
	var head []byte
	var points []jsontext.Value
	err = members(item, func(name, value jsontext.Value) error {
		if string(name) != `"points"` {
			head = appendMember(head, name, value)
			return nil
		}
		points, err = elements(value)
		return err
	})
	if err != nil {
		return nil, err
	}
	for _, p := range points {
		row := slices.Clone(head)
		if err := members(p, func(name, value jsontext.Value) error {
			row = appendMember(row, name, value)
			return nil
		}); err != nil {
			return nil, err
		}
		parts = append(parts, fmt.Appendf(nil, "{%s}", row))
	}
	if len(points) == 0 {
		parts = append(parts, fmt.Appendf(nil, "{%s}", head))
	}
	return parts, nil
}

func appendMember(b []byte, name, value jsontext.Value) []byte {
	if len(b) > 0 {
		b = append(b, ',')
	}
	return append(append(append(b, name...), ':'), value...)
}

var errNoPoints = errors.New("points is a list of objects")

// members visits the members of an object.
func members(object jsontext.Value, visit func(name, value jsontext.Value) error) error {
	if object.Kind() != jsontext.KindBeginObject {
		return errNoPoints
	}
	d := newDecoder(object)
	if _, err := d.ReadToken(); err != nil {
		return err
	}
	for d.PeekKind() != jsontext.KindEndObject {
		name, err := d.ReadValue()
		if err != nil {
			return err
		}
		name = name.Clone()
		value, err := d.ReadValue()
		if err != nil {
			return err
		}
		if err := visit(name, value.Clone()); err != nil {
			return err
		}
	}
	return nil
}

// elements returns the elements of a list; null has none.
func elements(list jsontext.Value) (out []jsontext.Value, err error) {
	if list.Kind() == jsontext.KindNull {
		return nil, nil
	}
	if list.Kind() != jsontext.KindBeginArray {
		return nil, errNoPoints
	}
	d := newDecoder(list)
	if _, err := d.ReadToken(); err != nil {
		return nil, err
	}
	for d.PeekKind() != jsontext.KindEndArray {
		v, err := d.ReadValue()
		if err != nil {
			return nil, err
		}
		out = append(out, v.Clone())
	}
	_, err = d.ReadToken()
	if err == nil {
		_, err = d.ReadToken()
	}
	if err == io.EOF {
		err = nil
	}
	return out, err
}
