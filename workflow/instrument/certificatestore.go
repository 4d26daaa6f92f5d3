package instrument

import (
	"cmp"
	"context"
	"fmt"
	"time"

	"lastgood/policy/metrology"
	"lastgood/policy/unit"
	"lastgood/workflow/fault"
	"lastgood/workflow/pg"
)

const addCertificates = `
with c as (
  insert into certificate (plant_id, instrument_id, number, issued_at, valid_until, unit, fit)
  select $1, instrument_id, number, issued_at, valid_until, unit, fit
  from json_to_recordset($2) as r(instrument_id int, number text, issued_at timestamptz, valid_until timestamptz, unit text, fit text)
  where $3::timestamptz is not null
  returning certificate_id, instrument_id, number)
insert into certificate_point (plant_id, certificate_id, at_temperature, correction, expanded_uncertainty)
select $1, c.certificate_id, p.at, p.correction, p.expanded_uncertainty
from json_to_recordset($2) as r(instrument_id int, number text, points json)
join c using (instrument_id, number),
json_to_recordset(r.points) as p(at bigint, correction bigint, expanded_uncertainty bigint)`

var certificateSieve = pg.Sieve{
	Noun: "certificate", Key: "certificate",
	Columns: `instrument_id int, number text, issued_at timestamptz, valid_until timestamptz, unit text, fit text, points json`,
	Table:   `certificate t on t.instrument_id = r.instrument_id and t.number = r.number`,
	Same: []pg.Same{
		{Field: "issued_at", If: "t.issued_at = r.issued_at"},
		{Field: "valid_until", If: "t.valid_until = r.valid_until"},
		{Field: "unit", If: "t.unit = r.unit"},
		{Field: "fit", If: "t.fit = r.fit"},
		{Field: "points", If: `not exists (
			(select at_temperature, correction, expanded_uncertainty from certificate_point p
				where p.plant_id = t.plant_id and p.certificate_id = t.certificate_id)
			except select at, correction, expanded_uncertainty
				from json_to_recordset(r.points) as p(at bigint, correction bigint, expanded_uncertainty bigint))
			and not exists (
			select at, correction, expanded_uncertainty
				from json_to_recordset(r.points) as p(at bigint, correction bigint, expanded_uncertainty bigint)
			except (select at_temperature, correction, expanded_uncertainty from certificate_point p
				where p.plant_id = t.plant_id and p.certificate_id = t.certificate_id))`},
	},
}

// AddCertificates records calibration certificates of references and returns
// those that are new. The same certificate again is left as it is.
func AddCertificates(ctx context.Context, tx *pg.Tx, list []Certificate) ([]Certificate, error) {
	known, err := Known(ctx, tx)
	if err != nil {
		return nil, err
	}
	var bad fault.Rows
	rows := make([]certificateRow, len(list))
	for i, c := range list {
		in, ok := known[c.Instrument]
		switch {
		case !ok:
			bad.Add(i, unknownInstrument(c.Instrument, "instrument"))
		case !c.ValidUntil.After(c.IssuedAt):
			bad.Add(i, fault.New(fault.Invalid, "out-of-range", "the certificate ends before it is issued").In("valid_until"))
		default:
			if err := c.metrology().Verify(); err != nil {
				bad.Add(i, fault.New(fault.Invalid, "not-a-line", "certificate %s of %s: %v", c.Number, c.Instrument, err).In("fit"))
			}
		}
		rows[i] = newCertificateRow(in.ID, c)
	}
	if len(bad) > 0 {
		return nil, bad
	}
	fresh, err := pg.Sift(ctx, tx, certificateSieve, rows, func(r certificateRow) certificateKey {
		return certificateKey{r.Instrument, r.Number}
	}, &bad)
	if err != nil || len(bad) > 0 {
		return nil, cmp.Or(err, bad.Err())
	}
	if _, err := tx.Insert(ctx, addCertificates, pg.Pick(rows, fresh)); err != nil {
		return nil, fmt.Errorf("add certificates: %w", err)
	}
	return pg.Pick(list, fresh), nil
}

// metrology is the certificate as the policy reads it, in its own unit.
func (c Certificate) metrology() *metrology.Certificate {
	m := &metrology.Certificate{Number: c.Number, Scale: c.Unit, Fit: metrology.Fit(c.Fit)}
	for _, p := range c.Points {
		m.Points = append(m.Points, metrology.CertificatePoint(p))
	}
	return m
}

type certificateKey struct {
	instrument ID
	number     string
}

type certificateRow struct {
	Instrument ID                    `json:"instrument_id"`
	Number     string                `json:"number"`
	IssuedAt   time.Time             `json:"issued_at"`
	ValidUntil time.Time             `json:"valid_until"`
	Unit       string                `json:"unit"`
	Fit        Fit                   `json:"fit"`
	Points     []certificatePointRow `json:"points"`
}

type certificatePointRow struct {
	At                  unit.Micro `json:"at"`
	Correction          unit.Micro `json:"correction"`
	ExpandedUncertainty unit.Micro `json:"expanded_uncertainty"`
}

func newCertificateRow(id ID, c Certificate) certificateRow {
	r := certificateRow{Instrument: id, Number: c.Number, IssuedAt: c.IssuedAt, ValidUntil: c.ValidUntil, Unit: c.Unit.String(),
		Fit: cmp.Or(c.Fit, PointByPoint)}
	for _, p := range c.Points {
		r.Points = append(r.Points, certificatePointRow(p))
	}
	return r
}
