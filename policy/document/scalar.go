package document

import (
	"regexp"
	"slices"
	"strconv"
	"strings"
	"time"

	"go.yaml.in/yaml/v4"

	"lastgood/policy/unit"
)

// quoted are the styles in which a scalar is text whatever it looks like.
const quoted = yaml.SingleQuotedStyle | yaml.DoubleQuotedStyle | yaml.LiteralStyle | yaml.FoldedStyle

// ambiguous are words that some YAML programs read as true or false.
var ambiguous = []string{"y", "n", "yes", "no", "on", "off"}

func isNull(n *yaml.Node) bool { return n.Kind == yaml.ScalarNode && n.ShortTag() == "!!null" }

// scalar refuses whatever is not one value.
func (r *reader) scalar(f field) (string, bool) {
	if f.value.Kind == yaml.AliasNode {
		r.problem(f.value, f.path, "not-supported", "aliases are not supported: write the value out")
		return "", false
	}
	if f.value.Kind != yaml.ScalarNode || isNull(f.value) {
		r.problem(f.value, f.path, "wrong-type", f.key+" must be one value")
		return "", false
	}
	return f.value.Value, true
}

// text reads a value that must be text. What YAML takes for a number, a truth
// value or a date must be in quotes: 010 and no are not what they look like.
func (r *reader) text(f field) (string, bool) {
	s, ok := r.scalar(f)
	if !ok {
		return "", false
	}
	plain := f.value.Style&quoted == 0
	if f.value.ShortTag() != "!!str" || plain && slices.Contains(ambiguous, strings.ToLower(s)) {
		r.problem(f.value, f.path, "not-text", s+" is not text in YAML: write it in quotes, \""+s+"\"")
		return "", false
	}
	if s == "" || strings.TrimSpace(s) != s || strings.ContainsFunc(s, isControl) {
		r.problem(f.value, f.path, "not-text", f.key+" must be a word or a line, without spaces at its ends")
		return "", false
	}
	return s, true
}

func isControl(c rune) bool { return c < ' ' || c == 0x7f }

// word reads one of a few words.
func (r *reader) word(f field, allowed ...string) (string, bool) {
	s, ok := r.scalar(f)
	if ok && !slices.Contains(allowed, s) {
		r.problem(f.value, f.path, "unknown-word", f.key+" is "+s+": write "+oneOf(allowed))
		return "", false
	}
	return s, ok
}

// decimal is a number as people write it. A leading 0 would make it octal for
// some programs, an underscore or an exponent is easily overlooked.
var decimal = regexp.MustCompile(`^[+-]?(0|[1-9][0-9]*)(\.[0-9]+)?$`)

const decimalOnly = ": write a plain decimal number, without a leading 0, an underscore or an exponent"

// number reads a number without a unit.
func (r *reader) number(f field) (float64, bool) {
	s, ok := r.scalar(f)
	if !ok {
		return 0, false
	}
	if tag := f.value.ShortTag(); tag != "!!int" && tag != "!!float" {
		r.problem(f.value, f.path, "wrong-type", f.key+" must be a number without a unit")
		return 0, false
	}
	v, err := strconv.ParseFloat(s, 64)
	if err != nil || !decimal.MatchString(s) {
		r.problem(f.value, f.path, "bad-number", s+decimalOnly)
		return 0, false
	}
	return v, true
}

// withUnit refuses what is not a number and a unit, and says which of the two is
// at fault.
func (r *reader) withUnit(f field, example string) (string, bool) {
	s, ok := r.scalar(f)
	if !ok {
		return "", false
	}
	parts := strings.Fields(s)
	if len(parts) != 2 {
		r.problem(f.value, f.path, "missing-unit", s+": write a number, a space and a unit, as in "+example)
		return "", false
	}
	if !decimal.MatchString(parts[0]) {
		r.problem(f.value, f.path, "bad-number", parts[0]+decimalOnly)
		return "", false
	}
	if _, err := unit.ParseScale(parts[1]); err != nil {
		r.problem(f.value, f.path, "unknown-unit", err.Error())
		return "", false
	}
	return s, true
}

func (r *reader) temperature(f field) (unit.Temperature, bool) {
	s, ok := r.withUnit(f, "165 F")
	if !ok {
		return unit.Temperature{}, false
	}
	t, err := unit.ParseTemperature(s)
	if err != nil {
		r.problem(f.value, f.path, "bad-number", err.Error())
	}
	return t, err == nil
}

func (r *reader) difference(f field) (unit.Diff, bool) {
	s, ok := r.withUnit(f, "10 K")
	if !ok {
		return unit.Diff{}, false
	}
	d, err := unit.ParseDiff(s)
	if err != nil {
		r.problem(f.value, f.path, "bad-number", err.Error())
	}
	return d, err == nil
}

func (r *reader) duration(f field) (time.Duration, bool) {
	s, ok := r.scalar(f)
	if !ok {
		return 0, false
	}
	d, err := time.ParseDuration(s)
	switch {
	case decimal.MatchString(s):
		r.problem(f.value, f.path, "missing-unit", s+" has no unit: write 15s, 30m or 2h")
	case err != nil:
		r.problem(f.value, f.path, "bad-duration", s+" is not a duration: write 15s, 30m, 2h or 168h")
	case d < 0:
		r.problem(f.value, f.path, "negative", f.key+" is negative")
	default:
		return d, true
	}
	return 0, false
}

// moment reads a time with its offset.
func (r *reader) moment(f field) (*time.Time, bool) {
	s, ok := r.scalar(f)
	if !ok {
		return nil, false
	}
	t, err := time.Parse(time.RFC3339, s)
	if err != nil {
		r.problem(f.value, f.path, "bad-time", s+" is not a time with an offset: write 2026-03-01T00:00:00Z or 2026-03-01T00:00:00-05:00")
		return nil, false
	}
	return &t, true
}
