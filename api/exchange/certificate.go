package exchange

import (
	"cmp"
	"slices"

	"lastgood/policy/unit"
	"lastgood/workflow/instrument"
)

var certificateTable = table{
	name: "certificates",
	required: []string{"instrument", "certificate", "issued_at", "valid_until", "at", "correction",
		"expanded_uncertainty", "unit"},
	optional: []string{"fit"},
}

// decodeCertificate returns one row: a certificate with one point.
func decodeCertificate(r *record) instrument.Certificate {
	scale := r.scale()
	return instrument.Certificate{
		Instrument: r.code("instrument"),
		Number:     r.code("certificate"),
		IssuedAt:   r.moment("issued_at"),
		ValidUntil: r.moment("valid_until"),
		Unit:       scale,
		Fit:        word(r, "fit", instrument.PointByPoint, instrument.StraightLine),
		Points: []instrument.CertificatePoint{{
			At:                  orZero(r.temperature("at", scale)),
			Correction:          orZero(r.difference("correction")),
			ExpandedUncertainty: orZero(r.uncertainty("expanded_uncertainty")),
		}},
	}
}

// readCertificates returns the certificates, each put together from its rows,
// wherever they stand in the file.
func readCertificates(s source) ([]Row[instrument.Certificate], []Problem) {
	rows, bad := readTable(s, certificateTable, decodeCertificate)
	list, differ := joinCertificates(rows)
	return list, append(bad, differ...)
}

func joinCertificates(rows []Row[instrument.Certificate]) (list []Row[instrument.Certificate], bad []Problem) {
	type key struct{ instrument, number string }
	seen := map[key]int{}
	for _, row := range rows {
		k := key{row.Value.Instrument, row.Value.Number}
		i, ok := seen[k]
		if !ok {
			seen[k] = len(list)
			list = append(list, row)
			continue
		}
		if p := joinCertificate(&list[i], row); p != nil {
			bad = append(bad, *p)
		}
	}
	for _, c := range list {
		slices.SortFunc(c.Value.Points, func(a, b instrument.CertificatePoint) int { return cmp.Compare(a.At, b.At) })
	}
	return list, bad
}

// joinCertificate adds the point of a row to its certificate. It returns what
// does not fit.
func joinCertificate(c *Row[instrument.Certificate], row Row[instrument.Certificate]) *Problem {
	have, v := &c.Value, row.Value
	column := ""
	switch {
	case !v.IssuedAt.Equal(have.IssuedAt):
		column = "issued_at"
	case !v.ValidUntil.Equal(have.ValidUntil):
		column = "valid_until"
	case v.Unit != have.Unit:
		column = "unit"
	case v.Fit != have.Fit:
		column = "fit"
	}
	if column != "" {
		return row.problem(column, flawf("certificate-differs", "certificate %s of %s has another %s on line %d",
			v.Number, v.Instrument, column, c.Line))
	}
	p := v.Points[0]
	if slices.ContainsFunc(have.Points, func(q instrument.CertificatePoint) bool { return q.At == p.At }) {
		return row.problem("at", flawf("duplicate-point", "certificate %s of %s has the point %v twice",
			v.Number, v.Instrument, unit.Temperature{Value: p.At, Scale: v.Unit}))
	}
	have.Points = append(have.Points, p)
	return nil
}

// problem names what is wrong with a column of the row.
func (r Row[T]) problem(column string, f *flaw) *Problem {
	return &Problem{File: r.File, Line: r.Line, Column: column, Rule: f.rule, Detail: f.detail}
}
