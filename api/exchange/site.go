package exchange

import (
	"errors"
	"os"
	"path/filepath"
	"time"
	_ "time/tzdata" // a plant's server may have no zone files

	"go.yaml.in/yaml/v4"
)

// longestYAML is far more than any site or policy, and little to hold.
const longestYAML = 4 << 20

// readYAML returns the bytes of a yaml file.
func (s source) readYAML() ([]byte, *flaw) {
	if s.size > longestYAML {
		return nil, flawf("too-long", "the file is longer than %d bytes", longestYAML)
	}
	b, err := os.ReadFile(filepath.Join(s.dir, s.name))
	if err != nil {
		return nil, unreadable(err)
	}
	return b, nil
}

// siteTable is site.yaml, seen as a table of one row.
var siteTable = table{
	name:     "site.yaml",
	required: []string{"name", "time_zone"},
	optional: []string{"altitude_m"},
}

// readSite returns the site.
func readSite(s source) (Site, []Problem) {
	if s.name == "" {
		return Site{}, nil
	}
	r := newRecord(s.name, siteTable)
	text, f := s.readYAML()
	if f != nil {
		r.fail("", f)
		return Site{}, r.bad
	}
	lines := r.fillFromYAML(text)
	if len(r.bad) > 0 {
		return Site{}, r.bad
	}
	r.line = 0
	site := decodeSite(r)
	for i := range r.bad {
		r.bad[i].Line = lines[r.bad[i].Column]
	}
	return site, r.bad
}

func decodeSite(r *record) Site {
	s := Site{Name: r.code("name"), TimeZone: r.code("time_zone"), AltitudeM: parsed(r, "altitude_m", parseAltitude)}
	if s.TimeZone == "" {
		return s
	}
	at, err := time.LoadLocation(s.TimeZone)
	if err != nil || s.TimeZone == "Local" {
		r.fail("time_zone", flawf("unknown-time-zone", "%s is not a time zone of the IANA list, such as Europe/Dublin or America/Chicago", quote(s.TimeZone)))
		return s
	}
	s.Location = at
	return s
}

// parseAltitude reads a height above sea level [m]. It lies between the shore of
// the Dead Sea, about −430 m, and the highest mountain, 8,849 m (both from
// memory); what is beyond is in another unit, or a slip.
func parseAltitude(s string) (float64, *flaw) {
	v, f := parseFloat(s)
	if f == nil && (v < -450 || v > 9000) {
		f = flawf("out-of-range", "%s m is not a height at which food is made", quote(s))
	}
	return v, f
}

// fillFromYAML fills r with the members of one flat mapping. It returns the line
// of each.
func (r *record) fillFromYAML(text []byte) map[string]int {
	var doc yaml.Node
	if err := yaml.Load(text, &doc); err != nil {
		r.yamlError(err)
		return nil
	}
	if len(doc.Content) != 1 || doc.Content[0].Kind != yaml.MappingNode {
		r.fail("", flawf("bad-yaml", "write one line for each of %s", r.table.allowed()))
		return nil
	}
	lines := map[string]int{}
	members := doc.Content[0].Content
	for i := 0; i+1 < len(members); i += 2 {
		key, value := members[i], members[i+1]
		r.line = key.Line
		column := r.column(key.Value)
		switch {
		case key.Kind != yaml.ScalarNode || column < 0:
			r.fail(key.Value, r.table.unknownColumn(key.Value))
		case lines[key.Value] > 0:
			r.fail(key.Value, flawf("duplicate-column", "%s stands here twice, first on line %d", key.Value, lines[key.Value]))
		case value.Kind != yaml.ScalarNode:
			r.fail(key.Value, flawf("not-one-value", "write one value"))
		case value.ShortTag() != "!!null":
			r.value[column] = value.Value
		}
		lines[key.Value] = key.Line
	}
	return lines
}

// yamlError notes text that is no YAML, at the line where it stops to be.
func (r *record) yamlError(err error) {
	detail := err.Error()
	var load *yaml.LoadError
	if errors.As(err, &load) && load.Message != "" {
		r.line, detail = load.Mark.Line, load.Message
	}
	r.fail("", flawf("bad-yaml", "the file is not YAML: %s", detail))
}
