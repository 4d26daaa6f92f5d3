package instrument

import (
	"context"
	"fmt"
	"slices"
	"time"

	"lastgood/policy/metrology"
	"lastgood/policy/unit"
	"lastgood/workflow/fault"
	"lastgood/workflow/pg"
)

// Judged is a check with what was made of it.
type Judged struct {
	Check
	Instrument Stored
	Judgement  metrology.Judgement
	Points     []metrology.Point
	References []*ID // of each point; nil: none
	// LeftUnknown: the instrument was adjusted then, and nobody wrote down how
	// it was left, or at some of its points only.
	LeftUnknown bool
}

// judge knows what checks are judged with.
type judge struct {
	known        map[string]Stored
	certificates map[ID][]certificate
	adjustments  map[ID][]time.Time
	rule         metrology.Rule
	altitudeM    *float64
}

// Judge judges checks by the site's decision rule. It returns fault.Rows, by
// check and point, for an unknown instrument or reference, a reference whose
// certificate does not cover the time or the temperature, and an error over ten
// tolerances that nobody confirmed.
func Judge(ctx context.Context, tx *pg.Tx, list []Check, rule metrology.Rule) ([]Judged, error) {
	j := judge{rule: rule}
	var err error
	if j.known, err = Known(ctx, tx); err != nil {
		return nil, err
	}
	if j.certificates, err = loadCertificates(ctx, tx); err != nil {
		return nil, err
	}
	if j.adjustments, err = loadAdjustments(ctx, tx); err != nil {
		return nil, err
	}
	if err := tx.GetContext(ctx, &j.altitudeM, `select altitude_m from plant where plant_id = $1`, tx.Plant); err != nil {
		return nil, err
	}
	var bad fault.Rows
	out := make([]Judged, len(list))
	for i, c := range list {
		out[i] = j.check(&bad, i, c)
	}
	return out, fault.Both(bad.Err(), pg.AllPast(tx, list, "performed_at", func(c Check) time.Time { return c.PerformedAt }))
}

func (j judge) check(bad *fault.Rows, i int, c Check) Judged {
	in, ok := j.known[c.Instrument]
	if !ok {
		bad.Add(i, unknownInstrument(c.Instrument, "instrument"))
		return Judged{}
	}
	d := Judged{Check: c, Instrument: in, LeftUnknown: j.leftUnknown(in.ID, c)}
	for n, p := range c.Points {
		ref, id, e := j.reference(c, p)
		if e != nil {
			bad.AddPart(i, n, e)
			continue
		}
		pt, err := newPoint(in, string(p.Kind), ref, p.Found, p.Left, p.Repeats, p.Spread)
		if err != nil {
			bad.AddPart(i, n, fault.New(fault.Invalid, "repeats-and-spread", "%v", err).In("repeats"))
			continue
		}
		if pt.Implausible(in.ToleranceDiff()) && !c.Confirmed {
			err, _ := pt.FoundError()
			bad.AddPart(i, n, fault.New(fault.Invalid, "swapped", "the error %v %s is over ten tolerances: are found and reference swapped? If not, send the check with confirmed = true",
				err, p.Unit).In("found"))
		}
		d.Points, d.References = append(d.Points, pt), append(d.References, id)
	}
	d.Judgement = d.metrology().Judge(in.ToleranceDiff(), j.rule)
	return d
}

// newPoint is a point of a check of an instrument, with what its repeats add.
func newPoint(in Stored, kind string, ref metrology.Reference, found, left *unit.Micro, repeats *int, spread *unit.Micro) (metrology.Point, error) {
	p := metrology.NewPoint(kind, ref, found, left, in.ResolutionDiff())
	if repeats == nil || spread == nil {
		return p, nil
	}
	return p.Repeated(*repeats, unit.Diff{Value: *spread, Scale: ref.Scale}.Kelvin())
}

func (d Judged) metrology() metrology.Check {
	return metrology.Check{At: d.PerformedAt.UnixMicro(), Points: d.Points, Unusable: d.Unusable, LeftUnknown: d.LeftUnknown}
}

// leftUnknown: adjusted, as an as-left value or what happened within the hour
// after the check says, and at some point no as-left written down. What was found
// at that point is not how it was left: an adjustment moves all of them.
func (j judge) leftUnknown(id ID, c Check) bool {
	without := slices.ContainsFunc(c.Points, func(p CheckPoint) bool { return p.Left == nil })
	if slices.ContainsFunc(c.Points, func(p CheckPoint) bool { return p.Left != nil }) {
		return without
	}
	for _, at := range j.adjustments[id] {
		if !at.Before(c.PerformedAt) && at.Sub(c.PerformedAt) <= metrology.AsFoundWithin {
			return true
		}
	}
	return false
}

// reference finds the true temperature at a point.
func (j judge) reference(c Check, p CheckPoint) (metrology.Reference, *ID, *fault.Error) {
	stated := kelvin(p.ReferenceUncertainty, p.Unit)
	switch p.Kind {
	case Ice:
		return metrology.IcePoint(p.Unit, stated), nil, nil
	case Boiling:
		return j.boiling(p, stated)
	}
	var id *ID
	var cert *metrology.Certificate
	if p.Reference != "" {
		ref, ok := j.known[p.Reference]
		if !ok {
			return metrology.Reference{}, nil, unknownInstrument(p.Reference, "reference")
		}
		if p.Reference == c.Instrument {
			return metrology.Reference{}, nil, fault.New(fault.Invalid, "reference-is-itself", "%s cannot be compared with itself", p.Reference).In("reference")
		}
		var e *fault.Error
		if cert, e = j.certificate(ref, c.PerformedAt, p.Unit); e != nil {
			return metrology.Reference{}, nil, e
		}
		id = &ref.ID
	}
	r, err := metrology.Compared(p.Unit, *p.ReferenceReading, cert, stated)
	if err != nil {
		return r, nil, fault.New(fault.Invalid, "certificate-range", "%v", err).In("reference_reading")
	}
	return r, id, nil
}

func (j judge) boiling(p CheckPoint, stated *unit.CelsiusDiff) (metrology.Reference, *ID, *fault.Error) {
	if p.PressureKPa == nil && j.altitudeM == nil {
		return metrology.Reference{}, nil, fault.New(fault.Invalid, "altitude-unknown",
			"a boiling point needs the pressure, or the altitude of the site").In("pressure_kpa")
	}
	altitude := 0.0
	if j.altitudeM != nil {
		altitude = *j.altitudeM
	}
	r, err := metrology.BoilingPoint(p.Unit, p.PressureKPa, altitude, stated)
	if err != nil {
		return r, nil, fault.New(fault.Invalid, "out-of-range", "%v", err).In("pressure_kpa")
	}
	return r, nil, nil
}

func kelvin(m *unit.Micro, s unit.Scale) *unit.CelsiusDiff {
	if m == nil {
		return nil
	}
	k := unit.Diff{Value: *m, Scale: s}.Kelvin()
	return &k
}

// certificate returns the certificate of a reference that was valid at a time,
// in the unit of the check; nil if the reference has none at all.
func (j judge) certificate(ref Stored, at time.Time, s unit.Scale) (*metrology.Certificate, *fault.Error) {
	list := j.certificates[ref.ID]
	if len(list) == 0 {
		return nil, nil
	}
	var valid *certificate
	for i, c := range list {
		if !at.Before(c.IssuedAt) && !at.After(c.ValidUntil) {
			valid = &list[i] // the newest, since they are in order of issue
		}
	}
	if valid == nil {
		last := list[len(list)-1]
		return nil, fault.New(fault.Invalid, "expired-reference",
			"no certificate of %s was valid on %s (%s is valid from %s until %s): repeat the check with a reference that is",
			ref.Code, at.Format(time.RFC3339), last.Number, last.IssuedAt.Format(time.RFC3339), last.ValidUntil.Format(time.RFC3339)).In("reference")
	}
	return valid.in(s), nil
}

func loadAdjustments(ctx context.Context, tx *pg.Tx) (map[ID][]time.Time, error) {
	var rows []struct {
		ID ID        `db:"instrument_id"`
		At time.Time `db:"at"`
	}
	const q = `select instrument_id, at from instrument_event where plant_id = $1 and kind in ('adjusted', 'repaired') order by at`
	if err := tx.SelectContext(ctx, &rows, q, tx.Plant); err != nil {
		return nil, fmt.Errorf("adjustments: %w", err)
	}
	m := map[ID][]time.Time{}
	for _, r := range rows {
		m[r.ID] = append(m[r.ID], r.At)
	}
	return m, nil
}
