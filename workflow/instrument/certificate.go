package instrument

import (
	"context"
	"fmt"
	"time"

	"lastgood/policy/metrology"
	"lastgood/policy/unit"
	"lastgood/workflow/pg"
)

// certificate is a stored certificate.
type certificate struct {
	ID         int       `db:"certificate_id"`
	Instrument ID        `db:"instrument_id"`
	Number     string    `db:"number"`
	IssuedAt   time.Time `db:"issued_at"`
	ValidUntil time.Time `db:"valid_until"`
	Unit       string    `db:"unit"`
	Fit        Fit       `db:"fit"`
	points     []metrology.CertificatePoint
}

// in returns the certificate on another scale. What does not fit in whole
// millionths is rounded to the colder side; the uncertainty upward.
func (c certificate) in(s unit.Scale) *metrology.Certificate {
	from := unit.Scale(c.Unit[0])
	m := &metrology.Certificate{Number: c.Number, Scale: s, Fit: metrology.Fit(c.Fit)}
	for _, p := range c.points {
		m.Points = append(m.Points, metrology.CertificatePoint{
			At:                  unit.Convert(p.At, from, s, unit.Colder),
			Correction:          unit.ConvertDiff(p.Correction, from, s, unit.Colder),
			ExpandedUncertainty: unit.ConvertDiff(p.ExpandedUncertainty, from, s, unit.Hotter),
		})
	}
	return m
}

// loadCertificates returns each reference's certificates, in order of issue.
func loadCertificates(ctx context.Context, tx *pg.Tx) (map[ID][]certificate, error) {
	var list []certificate
	const heads = `select certificate_id, instrument_id, number, issued_at, valid_until, unit, fit from certificate
		where plant_id = $1 order by issued_at, certificate_id`
	if err := tx.SelectContext(ctx, &list, heads, tx.Plant); err != nil {
		return nil, fmt.Errorf("certificates: %w", err)
	}
	var points []struct {
		Certificate int        `db:"certificate_id"`
		At          unit.Micro `db:"at_temperature"`
		Correction  unit.Micro `db:"correction"`
		Uncertainty unit.Micro `db:"expanded_uncertainty"`
	}
	const lines = `select certificate_id, at_temperature, correction, expanded_uncertainty from certificate_point
		where plant_id = $1 order by certificate_id, at_temperature`
	if err := tx.SelectContext(ctx, &points, lines, tx.Plant); err != nil {
		return nil, fmt.Errorf("certificates: %w", err)
	}
	byID := map[int][]metrology.CertificatePoint{}
	for _, p := range points {
		byID[p.Certificate] = append(byID[p.Certificate], metrology.CertificatePoint{At: p.At, Correction: p.Correction, ExpandedUncertainty: p.Uncertainty})
	}
	m := map[ID][]certificate{}
	for _, c := range list {
		c.points = byID[c.ID]
		m[c.Instrument] = append(m[c.Instrument], c)
	}
	return m, nil
}
