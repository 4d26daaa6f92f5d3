package unit

import (
	"encoding/csv"
	"math/big"
	"os"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
)

const published = "../../testdata/published/metrology/unit_conversion.csv"

// row is one line of the published conversions, by column name. Its source,
// edition and clause are columns of the file.
type row map[string]string

// notComputed are the rows that no function here computes.
var notComputed = map[string]string{
	"UC0066": "counts what rounding to tenths of a degree changes; this package rounds to millionths only",
	"UC0067": "counts what rounding to whole degrees changes; this package rounds to millionths only",
	"UC0069": "counts the faults of (F − 32)/1.8, which is not the formula used here",
}

// counted is the row that counts something over a range; ToCelsius is held to it
// in TestFloatingPointAsCounted.
const counted = "UC0068"

func rows(t *testing.T) []row {
	t.Helper()
	f, err := os.Open(published)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	lines, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	var out []row
	for _, l := range lines[1:] {
		r := row{}
		for i, v := range l {
			r[lines[0][i]] = v
		}
		out = append(out, r)
	}
	return out
}

// conversions are the rows with a value to convert.
func conversions(t *testing.T) []row {
	t.Helper()
	var out []row
	for _, r := range rows(t) {
		if _, not := notComputed[r["id"]]; !not && r["id"] != counted {
			out = append(out, r)
		}
	}
	return out
}

// TestPublishedRowsAllUsed fails when a row comes, or goes, unnoticed.
func TestPublishedRowsAllUsed(t *testing.T) {
	t.Parallel()
	var idle []string
	for _, r := range rows(t) {
		if r["from_value"] == "" {
			idle = append(idle, r["id"])
		}
	}
	// Every row without a value to convert, as the file has them.
	if diff := cmp.Diff([]string{"UC0066", "UC0067", "UC0068", "UC0069"}, idle); diff != "" {
		t.Errorf("rows without a value (-want +got):\n%s", diff)
	}
	if got := len(conversions(t)); got != 84 { // rows of the file with a from_value, counted apart
		t.Errorf("%d rows converted", got)
	}
}

// scale reads the unit of a row. A gradient per inch converts as a difference.
func (r row) scale(t *testing.T, column string) Scale {
	t.Helper()
	s, ok := map[string]Scale{"degC": CelsiusScale, "degF": FahrenheitScale, "K": KelvinScale}[strings.TrimSuffix(r[column], " per inch")]
	if !ok {
		t.Fatalf("%s: unit %q", r["id"], r[column])
	}
	return s
}

// from is the value that is converted.
func (r row) from(t *testing.T) Micro { return r.micro(t, "from_value") }

func (r row) micro(t *testing.T, column string) Micro {
	t.Helper()
	return micro(t, r[column])
}

// exact is the converted value as the file states it: the fraction, or the
// decimal where it has only that.
func (r row) exact(t *testing.T) *big.Rat {
	t.Helper()
	s := r["exact_fraction"]
	if s == "" {
		s = r["exact_decimal"]
	}
	return rat(t, s)
}

// convert converts v of a row as a temperature or as a difference.
func (r row) convert(v Micro, from, to Scale, side Rounding) Micro {
	if r["kind"] == "interval" {
		return ConvertDiff(v, from, to, side)
	}
	return Convert(v, from, to, side)
}

func micro(t testing.TB, s string) Micro {
	t.Helper()
	m, err := ParseMicro(s)
	if err != nil {
		t.Fatal(err)
	}
	return m
}

func rat(t testing.TB, s string) *big.Rat {
	t.Helper()
	x, ok := new(big.Rat).SetString(s)
	if !ok {
		t.Fatalf("%q is no number", s)
	}
	return x
}

// rounded returns x in whole millionths, by long division and nothing of this
// package: the oracle of every conversion.
func rounded(x *big.Rat, side Rounding) Micro {
	x = new(big.Rat).Mul(x, big.NewRat(1_000_000, 1))
	q, rest := new(big.Int).DivMod(x.Num(), x.Denom(), new(big.Int)) // rest ≥ 0
	if side == Hotter && rest.Sign() != 0 {
		q.Add(q, big.NewInt(1))
	}
	return Micro(q.Int64())
}
