package catalogue

import (
	"embed"
	"fmt"
	"strconv"
	"sync"
	"time"

	"go.yaml.in/yaml/v4"

	"lastgood/policy/limit"
	"lastgood/policy/unit"
)

//go:embed data/*.yaml
var data embed.FS

// group is the entries of one table or section of one source.
type group struct {
	Short    string // in a limit's text: "FSIS 2021-12, Table 2"
	Citation string
	Edition  string
	Section  string
	Note     string // of all its entries
	Caution  string
	Entries  []written
}

// written is an entry as the data files have it.
type written struct {
	Name       string
	Title      string
	Kind       string
	With       map[string]string // parameters, as in a policy
	Rows       []string          // ids of the published rows of these
	Table      [][]string        // rows of the kind's table, each behind the id of its published row
	Confidence string
	FromMemory bool `yaml:"from_memory"`
	Note       string
	Caution    string
}

// entries reads the data files once, when somebody first asks. They are part of
// the program and the tests read every one, so that a fault in them is a fault
// of the build and no error of the caller.
var entries = sync.OnceValue(func() map[string]Entry {
	files, err := data.ReadDir("data")
	if err != nil {
		panic(err)
	}
	all := map[string]Entry{}
	for _, f := range files {
		b, err := data.ReadFile("data/" + f.Name())
		if err != nil {
			panic(err)
		}
		if err := read(b, all); err != nil {
			panic(f.Name() + ": " + err.Error())
		}
	}
	return all
})

// read adds the entries of one data file.
func read(b []byte, all map[string]Entry) error {
	var groups []group
	if err := yaml.Load(b, &groups, yaml.WithKnownFields()); err != nil {
		return err
	}
	for _, g := range groups {
		for _, w := range g.Entries {
			if _, twice := all[w.Name]; twice {
				return fmt.Errorf("%s is there twice", w.Name)
			}
			e, err := g.entry(w)
			if err != nil {
				return fmt.Errorf("%s: %w", w.Name, err)
			}
			all[w.Name] = e
		}
	}
	return nil
}

func (g group) entry(w written) (Entry, error) {
	k, err := limit.Lookup(w.Kind)
	if err != nil {
		return Entry{}, err
	}
	e := Entry{
		Name: w.Name, Title: w.Title, Kind: k, Values: limit.Values{
			Temperature: map[string]unit.Temperature{}, Difference: map[string]unit.Diff{}, Duration: map[string]time.Duration{},
			Number: map[string]float64{}, Rows: map[string][]limit.Row{}, Word: map[string]string{},
		},
		Citation: g.Citation, Edition: g.Edition, Section: g.Section, short: g.Short,
		FromMemory: w.FromMemory, Confidence: w.Confidence, Rows: w.Rows,
		Note: sentences(g.Note, w.Note, "; "), Caution: sentences(g.Caution, w.Caution, " "),
	}
	used := 0
	for _, p := range k.Parameters {
		s, given := w.With[p.Name]
		switch {
		case given:
			used++
			e.Parameters = append(e.Parameters, Parameter{Name: p.Name, Value: s})
			err = e.value(p, s)
		case p.Form == limit.Rows && len(w.Table) > 0:
			err = e.table(p, w.Table)
		}
		if err != nil {
			return Entry{}, fmt.Errorf("%s: %w", p.Name, err)
		}
	}
	if used != len(w.With) || len(w.Table) > 0 && len(e.Values.Rows) == 0 {
		return Entry{}, fmt.Errorf("a parameter that the kind %s does not have", k.Name)
	}
	return e, nil
}

// sentences joins what is said of a group and of one of its entries.
func sentences(a, b, between string) string {
	if a == "" || b == "" {
		return a + b
	}
	return a + between + b
}

func (e *Entry) value(p limit.Parameter, s string) (err error) {
	switch p.Form {
	case limit.Temperature:
		e.Values.Temperature[p.Name], err = unit.ParseTemperature(s)
	case limit.Difference:
		e.Values.Difference[p.Name], err = unit.ParseDiff(s)
	case limit.Duration:
		e.Values.Duration[p.Name], err = time.ParseDuration(s)
	case limit.Number:
		e.Values.Number[p.Name], err = strconv.ParseFloat(s, 64)
	default:
		err = fmt.Errorf("a %s is no single value", p.Form)
	}
	return err
}

// table reads the kind's table; the first cell of each row is the id of the
// published row.
func (e *Entry) table(p limit.Parameter, rows [][]string) error {
	shown := Parameter{Name: p.Name}
	for _, cells := range rows {
		if len(cells) != p.Temperatures+2 {
			return fmt.Errorf("%v has not %d cells", cells, p.Temperatures+2)
		}
		e.Rows = append(e.Rows, cells[0])
		shown.Rows = append(shown.Rows, cells[1:])
		var row limit.Row
		for _, c := range cells[1 : p.Temperatures+1] {
			t, err := unit.ParseTemperature(c)
			if err != nil {
				return err
			}
			row.Temperatures = append(row.Temperatures, t)
		}
		d, err := time.ParseDuration(cells[p.Temperatures+1])
		if err != nil {
			return err
		}
		row.Time = d
		e.Values.Rows[p.Name] = append(e.Values.Rows[p.Name], row)
	}
	e.Parameters = append(e.Parameters, shown)
	return nil
}
