package catalogue

import (
	"slices"
	"strings"
	"testing"
	"time"

	"lastgood/policy/limit"
	"lastgood/policy/unit"
)

// TestFigures holds every figure of the catalogue to the published row that its
// id names, in the unit that it is written in.
func TestFigures(t *testing.T) {
	t.Parallel()
	rows := published(t)
	for _, name := range Names() {
		e := find(t, name)
		f := figures{t, e, nil}
		for _, id := range e.Rows {
			r, ok := rows[id]
			if !ok {
				t.Fatalf("%s: there is no row %s", name, id)
			}
			f.rows = append(f.rows, r)
		}
		f.origin()
		f.parameters()
		f.table()
	}
}

// figures is one entry beside its published rows.
type figures struct {
	t    *testing.T
	e    Entry
	rows []row
}

// origin: citation, confidence and what was recalled are the rows' own.
func (f figures) origin() {
	cited, memory, medium := false, false, false
	for _, r := range f.rows {
		cited = cited || r["source"] == f.e.Citation
		memory = memory || r["provenance"] == "memory"
		medium = medium || r["confidence"] == "medium"
		if r["confidence"] == "low" {
			f.t.Errorf("%s offers %s, a row of low confidence", f.e.Name, r["id"])
		}
	}
	confidence := "high"
	if medium {
		confidence = "medium"
	}
	if !cited || memory != f.e.FromMemory || confidence != f.e.Confidence {
		f.t.Errorf("%s: cited %v, from memory %v and %v, confidence %s and %s", f.e.Name, cited, memory, f.e.FromMemory, confidence, f.e.Confidence)
	}
}

// columns are where a parameter stands in a row, without the scale.
var columns = map[string][]string{
	"temperature": {"temp", "temp_to", "temp_from"}, "allow.above": {"temp_from"}, "at_least": {"temp"}, "at_most": {"temp_to"},
	"reference": {"temp", "temp_ref"}, "from": {"temp"},
}

func (f figures) parameters() {
	v := f.e.Values
	for name, x := range v.Temperature {
		f.stated(name+" "+x.String(), func(r row) bool { return f.hasTemperature(r, x, columns[name]) })
	}
	for name, d := range v.Duration {
		f.stated(name+" "+d.String(), func(r row) bool { return f.hasTime(r, d) })
	}
	for name, z := range v.Difference {
		f.stated(name+" "+z.String(), func(r row) bool { return f.hasZ(r, z) })
	}
	for name, m := range v.Number {
		d := time.Duration(m * float64(time.Minute))
		f.stated(name, func(r row) bool {
			// LACF-100 prints the least there is and what is usual.
			return f.hasTime(r, d) || m == 3 && strings.Contains(r["hold_as_published"], "usually 3 min")
		})
	}
}

// stated says whether one row of the entry has the figure.
func (f figures) stated(what string, has func(row) bool) {
	if !slices.ContainsFunc(f.rows, has) {
		f.t.Errorf("%s: %s stands in no row of %v", f.e.Name, what, f.e.Rows)
	}
}

func (f figures) hasTemperature(r row, x unit.Temperature, columns []string) bool {
	return slices.ContainsFunc(columns, func(c string) bool {
		s := r[c+"_"+x.Scale.String()]
		return s != "" && temperature(f.t, s+" "+x.Scale.String()) == x
	})
}

// hasTime: the files print times in seconds, minutes or hours.
func (f figures) hasTime(r row, d time.Duration) bool {
	for c, of := range map[string]time.Duration{
		"dwell_s": time.Second, "hold_s": time.Second, "time_max_h": time.Hour, "time_min_h": time.Hour,
	} {
		if s := r[c]; s != "" && lasting(f.t, s, of) == d {
			return true
		}
	}
	return false
}

// hasZ: in K as a column, in F as it was printed.
func (f figures) hasZ(r row, z unit.Diff) bool {
	if z.Scale == unit.FahrenheitScale {
		return r["z_orig"] == z.String() || strings.Contains(r["hold_as_published"], "z="+z.String())
	}
	return r["z_C"] != "" && difference(f.t, r["z_C"]+" K").Value == z.Value
}

// table compares each row of a table with the published row of its id.
func (f figures) table() {
	for name, rows := range f.e.Values.Rows {
		ids := f.rows[len(f.rows)-len(rows):]
		for i, r := range rows {
			var below row
			if i > 0 {
				below = ids[i-1]
			}
			var same bool
			switch name {
			case "table":
				same = f.dwell(ids[i], r)
			case "stages":
				same = f.stage(ids[i], r)
			case "bands":
				same = f.band(ids[i], below, r)
			}
			if !same {
				f.t.Errorf("%s: %v for %s is not what %s prints", f.e.Name, r.Temperatures, r.Time, ids[i]["id"])
			}
		}
	}
}

func (f figures) dwell(r row, x limit.Row) bool {
	at := x.Temperatures[0]
	if r["T_orig"] != "" { // equivalents.csv, in minutes
		return temperature(f.t, r["T_orig"]) == at && lasting(f.t, r["published_value"], time.Minute) == x.Time
	}
	return f.hasTemperature(r, at, []string{"temp"}) && f.hasTime(r, x.Time)
}

func (f figures) stage(r row, x limit.Row) bool {
	return f.hasTemperature(r, x.Temperatures[0], []string{"temp_from"}) &&
		f.hasTemperature(r, x.Temperatures[1], []string{"temp_to"}) && f.hasTime(r, x.Time)
}

// band: the lowest band of an organism begins where it is printed to; a warmer
// one a millionth above the printed upper end of the one below, which leaves no
// gap and never begins above its own printed lower end; the last one is open and
// ends at boiling. Summaries count time above their lower end.
func (f figures) band(r, below row, x limit.Row) bool {
	low, high := x.Temperatures[0], x.Temperatures[1]
	if r["id"] == "FEX-050" { // both its bands are in one row
		return strings.HasPrefix(r["max_exposure_as_published"], "4 h of which <=2 h at 70-135 F") &&
			(low == above(temperature(f.t, "50 F")) && high == temperature(f.t, "70 F") && x.Time == 4*time.Hour ||
				low == temperature(f.t, "70 F") && high == temperature(f.t, "135 F") && x.Time == 2*time.Hour)
	}
	scale := " " + low.Scale.String()
	printed := temperature(f.t, r["temp_low_"+low.Scale.String()]+scale)
	begins := printed
	switch {
	case below != nil:
		begins = above(temperature(f.t, below["temp_high_"+low.Scale.String()]+scale))
	case strings.HasPrefix(r["organism"], "summary"):
		begins = above(printed)
	}
	ends := high.Celsius() == 100
	if top := r["temp_high_"+low.Scale.String()]; top != "" {
		ends = high == temperature(f.t, top+scale) || high == above(printed) && top == r["temp_low_"+low.Scale.String()]
	}
	return low == begins && low.Value <= above(printed).Value && ends && lasting(f.t, r["max_exposure_h"], time.Hour) == x.Time
}

// above is the least temperature above one.
func above(t unit.Temperature) unit.Temperature {
	return unit.Temperature{Value: t.Value + 1, Scale: t.Scale}
}
