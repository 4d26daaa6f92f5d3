package workflow

import (
	"context"
	"fmt"
	"math"
	"slices"
	"time"

	"lastgood/policy/limit"
	"lastgood/policy/metrology"
	"lastgood/policy/unit"
	"lastgood/workflow/instrument"
	"lastgood/workflow/pg"
)

// CheckForm is what a technician needs for the next check of an instrument: at
// which points, with which reference, how large an error may be. It says nothing
// of product: whoever looks at a thermometer should not know what hangs on it.
type CheckForm struct {
	Instrument instrument.Registered
	Plant      string
	Zone       *time.Location
	AltitudeM  *float64
	MadeAt     time.Time
	Due        Due
	Limits     []FormLimit // that it is read for
	Points     []FormPoint // ascending by temperature
	References []FormReference
	Notes      []string
	// needed are those of the points at which one check has to pass, as left, so that
	// no suspect window of the instrument is open when it is used again.
	needed []FormPoint
}

// FormLimit is a limit that the instrument is read for, and where it has to be
// good for that [°C].
type FormLimit struct {
	Name, Text   string
	Temperatures []unit.Celsius
}

// FormPoint is a point that the check asks for.
type FormPoint struct {
	Kind     instrument.PointKind
	Scale    unit.Scale
	Expected unit.Micro // what a perfect instrument shows there, or about what the bath should have
	Basis    string     // of the expected value; empty for a comparison
	// Covers are the temperatures of the limits that need this point, on Scale.
	Covers []unit.Micro
	// LastGoodAt is the latest check that was good at every one of them, or at the
	// point itself where it covers none; nil: none was.
	LastGoodAt *time.Time
	// Fields are what is to be written down, by the names of a check's point.
	Fields []string
}

// CheckForm returns the form for the next check of an instrument.
// fault.NotFound: there is no such instrument.
func (s *Service) CheckForm(ctx context.Context, sc pg.Scope, code string) (CheckForm, error) {
	return ask(ctx, s, sc, func(tx *pg.Tx) (f CheckForm, err error) {
		if f, err = atWhichPoints(ctx, tx, code); err != nil {
			return f, err
		}
		due, err := dueWhere(ctx, tx, `i.code = $3`, code)
		if err != nil {
			return f, err
		}
		f.Due = due[0]
		f.References, err = references(ctx, tx, f)
		return f, err
	})
}

// atWhichPoints is the form as far as it says at which points the instrument must be good:
// where its limits need it, and where what failed has to pass to end what it left in
// doubt.
func atWhichPoints(ctx context.Context, tx *pg.Tx, code string) (CheckForm, error) {
	f := CheckForm{MadeAt: tx.Now}
	p, err := currentPolicy(ctx, tx)
	if err != nil {
		return f, err
	}
	if f.Instrument, err = instrument.ByCode(ctx, tx, code); err != nil {
		return f, err
	}
	if err := f.site(ctx, tx); err != nil {
		return f, err
	}
	if f.Limits, err = limitsServed(ctx, tx, f.Instrument.ID, p); err != nil {
		return f, err
	}
	in, err := instrument.Get(ctx, tx, f.Instrument.ID)
	if err != nil {
		return f, err
	}
	h, err := instrument.LoadHistory(ctx, tx, in)
	if err != nil {
		return f, err
	}
	f.ask(p)
	if err := f.settle(in, h, p); err != nil {
		return f, err
	}
	return f, f.lastGood(in, h, p)
}

func (f *CheckForm) site(ctx context.Context, tx *pg.Tx) error {
	var row struct {
		Name     string   `db:"name"`
		Altitude *float64 `db:"altitude_m"`
	}
	if err := tx.GetContext(ctx, &row, `select name, altitude_m from plant where plant_id = $1`, tx.Plant); err != nil {
		return fmt.Errorf("plant: %w", err)
	}
	f.Plant, f.AltitudeM = row.Name, row.Altitude
	var err error
	f.Zone, err = zoneOf(ctx, tx)
	return err
}

// limitsServed returns the limits in force that an instrument was read for, or
// that apply where it hangs.
func limitsServed(ctx context.Context, tx *pg.Tx, id instrument.ID, p sitePolicy) ([]FormLimit, error) {
	var names, places []string
	const named = `select limit_name from limit_span where plant_id = $1 and instrument_id = $2 order by 1`
	if err := tx.SelectContext(ctx, &names, named, tx.Plant, id); err != nil {
		return nil, fmt.Errorf("limits served: %w", err)
	}
	const hung = `select code from location join mounting using (plant_id, location_id)
		where plant_id = $1 and instrument_id = $2 and (mounted_to is null or mounted_to > $3)`
	if err := tx.SelectContext(ctx, &places, hung, tx.Plant, id, tx.Now); err != nil {
		return nil, fmt.Errorf("places: %w", err)
	}
	var out []FormLimit
	for _, l := range p.Limits {
		applies := len(l.AppliesTo.Products)+len(l.AppliesTo.Locations) > 0 && slices.Contains(names, "") ||
			slices.ContainsFunc(l.AppliesTo.Locations, func(at string) bool { return slices.Contains(places, at) })
		if l.InForce(tx.Now) && (applies || slices.Contains(names, l.Name)) {
			out = append(out, FormLimit{l.Name, l.Text, temperaturesOf([]limit.Criterion{l.Criterion})})
		}
	}
	return out, nil
}

// ask puts the points together: ice and boiling water where they lie near enough
// to a limit, and for each temperature that they leave open a comparison there.
// Where nobody knows what it is read for, it is checked in both.
func (f *CheckForm) ask(p sitePolicy) {
	f.Points = f.fixed()
	if len(f.Limits) == 0 {
		f.Notes = append(f.Notes, "nobody knows yet for which limit it is read: check it where it will be used as well")
		return
	}
	for _, t := range f.temperatures() {
		f.cover(t, p.Beyond)
	}
	f.Points = slices.DeleteFunc(f.Points, func(pt FormPoint) bool { return len(pt.Covers) == 0 })
	f.Points = byTemperature(f.Points)
}

// fixed are ice and boiling water, as far as they lie in the instrument's range.
func (f *CheckForm) fixed() []FormPoint {
	scale := f.Instrument.Unit
	ice := metrology.IcePoint(scale, nil)
	out := []FormPoint{{Kind: instrument.Ice, Scale: scale, Expected: ice.True, Basis: ice.Basis, Fields: []string{"found", "left"}}}
	if f.AltitudeM != nil {
		if r, err := metrology.BoilingPoint(scale, nil, *f.AltitudeM, nil); err == nil {
			out = append(out, FormPoint{Kind: instrument.Boiling, Scale: scale, Expected: r.True, Basis: r.Basis,
				Fields: []string{"pressure_kpa", "found", "left"}})
		}
	}
	return slices.DeleteFunc(out, func(pt FormPoint) bool { return f.beyondRange(pt.Expected) })
}

// comparison is a point at which the instrument is compared with a reference.
func (f *CheckForm) comparison(at unit.Micro) FormPoint {
	return FormPoint{Kind: instrument.Comparison, Scale: f.Instrument.Unit, Expected: at, Fields: []string{"reference", "reference_reading", "found", "left"}}
}

func (f *CheckForm) temperatures() []unit.Celsius {
	var out []unit.Celsius
	for _, l := range f.Limits {
		out = append(out, l.Temperatures...)
	}
	slices.Sort(out)
	return slices.Compact(out)
}

// cover gives a temperature to the nearest point that reaches it, or asks for a
// comparison at the temperature itself.
func (f *CheckForm) cover(t unit.Celsius, beyond unit.CelsiusDiff) {
	best, least := -1, math.Inf(1)
	for i, pt := range f.Points {
		if d := math.Abs(float64(unit.ToCelsius(pt.Expected, pt.Scale).Sub(t))); d <= float64(beyond)+1e-9 && d < least {
			best, least = i, d
		}
	}
	at := degreesOn(t, f.Instrument.Unit)
	if best < 0 {
		if f.beyondRange(at) {
			f.Notes = append(f.Notes, fmt.Sprintf("a limit needs it at %s %s, which lies beyond its range", at, f.Instrument.Unit))
		}
		f.Points = append(f.Points, f.comparison(at))
		best = len(f.Points) - 1
	}
	f.Points[best].Covers = append(f.Points[best].Covers, at)
}

func (f *CheckForm) beyondRange(m unit.Micro) bool {
	in := f.Instrument
	return in.RangeLow != nil && m < *in.RangeLow || in.RangeHigh != nil && m > *in.RangeHigh
}

// lastGood asks for each point when the instrument was last good there, as a
// failure now would ask.
func (f *CheckForm) lastGood(in instrument.Stored, h instrument.History, p sitePolicy) error {
	now := f.MadeAt.UnixMicro()
	lost := opening{check: &instrument.Recorded{Check: metrology.Check{At: now + 1, Unusable: true}}}
	h.Checks = append(slices.DeleteFunc(slices.Clone(h.Checks), func(c instrument.Recorded) bool { return c.At > now }), *lost.check)
	doubt, err := doubtOf(in, h, lost, p)
	if err != nil {
		return fmt.Errorf("form of %s: %w", in.Code, err)
	}
	for i := range f.Points {
		pt := &f.Points[i]
		at := int64(math.MaxInt64)
		for _, m := range append(slices.Clone(pt.Covers), pt.Expected) {
			t := unit.ToCelsius(m, pt.Scale)
			after, _, good := doubt.WindowOver(t, t)
			if good < 0 {
				after = math.MinInt64
			}
			at = min(at, after)
		}
		pt.LastGoodAt = moment(at)
	}
	return nil
}
