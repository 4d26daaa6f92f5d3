package exchange

import (
	"bytes"
	"encoding/csv"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/go-json-experiment/json"
	"github.com/go-json-experiment/json/jsontext"
	"github.com/klauspost/compress/gzip"
	"github.com/klauspost/compress/zstd"
)

// writeForm writes CSV text into dir in the form that name asks for.
func writeForm(t testing.TB, dir, name, text string) {
	t.Helper()
	if strings.Contains(name, ".ndjson") {
		text = asNDJSON(t, text)
	}
	b := []byte(text)
	switch filepath.Ext(name) {
	case ".gz":
		b = gzipped(t, text)
	case ".zst":
		b = zstded(t, text)
	}
	if err := os.WriteFile(filepath.Join(dir, name), b, 0o644); err != nil {
		t.Fatal(err)
	}
}

func gzipped(t testing.TB, text string) []byte {
	t.Helper()
	var b bytes.Buffer
	return packed(t, &b, gzip.NewWriter(&b), text)
}

func zstded(t testing.TB, text string) []byte {
	t.Helper()
	var b bytes.Buffer
	z, err := zstd.NewWriter(&b)
	if err != nil {
		t.Fatal(err)
	}
	return packed(t, &b, z, text)
}

func packed(t testing.TB, b *bytes.Buffer, z io.WriteCloser, text string) []byte {
	t.Helper()
	if _, err := io.WriteString(z, text); err != nil {
		t.Fatal(err)
	}
	if err := z.Close(); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

// numeric are columns that a sender of JSON would write without quotes.
var numeric = []string{"value", "tolerance", "resolution", "found", "left", "reference_reading", "check_every_days",
	"correction", "quantity", "adjustable", "ready_to_eat"}

// asNDJSON rewrites CSV as NDJSON: numbers and booleans natural where a sender
// would, empty values left out or null by turns.
func asNDJSON(t testing.TB, text string) string {
	t.Helper()
	rows, err := csv.NewReader(strings.NewReader(text)).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	var b strings.Builder
	for n, row := range rows[1:] {
		var members []string
		for i, v := range row {
			key := rows[0][i]
			switch {
			case v == "" && n%2 == 0:
				continue
			case v == "":
				v = "null"
			case slices.Contains(numeric, key) && jsontext.Value(v).IsValid():
			default:
				q, err := json.Marshal(v)
				if err != nil {
					t.Fatal(err)
				}
				v = string(q)
			}
			members = append(members, `"`+key+`":`+v)
		}
		b.WriteString("{" + strings.Join(members, ",") + "}\n")
	}
	return b.String()
}
