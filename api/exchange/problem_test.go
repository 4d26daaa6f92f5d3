package exchange

import (
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"unicode/utf8"

	"github.com/google/go-cmp/cmp"
)

// brief is a problem without its sentence: file:line:column:rule.
func brief(p Problem) string { return fmt.Sprintf("%s:%d:%s:%s", p.File, p.Line, p.Column, p.Rule) }

func briefs(list []Problem) []string {
	var s []string
	for _, p := range list {
		s = append(s, brief(p))
	}
	return s
}

const (
	instrumentHeader = "instrument,unit,tolerance,resolution,kind,role,use,adjustable,check_every_days,in_service_from,range_low\n"
	checkHeader      = "instrument,performed_at,point,reference,reference_reading,found,left,unit,performed_by,outcome,reference_uncertainty,pressure_kpa\n"
	readingHeader    = "instrument,taken_at,value,unit,lot,source_id\n"
	certHeader       = "instrument,certificate,issued_at,valid_until,at,correction,expanded_uncertainty,unit\n"
)

// spoilt are sound plants with one file spoilt: an empty text takes it away.
var spoilt = []struct {
	name, file, text string
	want             []string // file:line:column:rule
}{
	{"no site", "site.yaml", "", []string{"site.yaml:0::missing-file"}},
	{"no policy", "policy.yaml", "", []string{"policy.yaml:0::missing-file"}},
	{"no instruments", "instruments.csv", "", []string{"instruments.csv:0::missing-file"}},
	{"no checks", "checks.csv", "", []string{"checks.csv:0::missing-file"}},
	{"no readings", "readings.csv", "", []string{"readings.csv:0::missing-file"}},
	{"no certificates is fine", "certificates.csv", "", nil},
	{"both forms", "readings.ndjson", "{}\n", []string{"readings.ndjson:0::two-files"}},
	{"instruments without a row", "instruments.csv", instrumentHeader, []string{"instruments.csv:0::no-rows"}},
	{"readings without a row", "readings.csv", readingHeader, nil},
	{"checks without a row", "checks.csv", checkHeader, nil},
	{"only a byte order mark", "events.csv", "\ufeff", []string{"events.csv:0::empty-file"}},
	{"only blank lines", "events.csv", "\n\n", []string{"events.csv:0::empty-file"}},
	{"byte order mark", "events.csv", "\ufeffinstrument,at,event\n", nil},
	{"CRLF", "events.csv", "instrument,at,event\r\nT,2026-03-02T07:05:00Z,moved\r\n", nil},

	{"unknown column", "events.csv", "instrument,at,event,colour\n", []string{"events.csv:1:colour:unknown-column"}},
	{"wrong case of a column", "events.csv", "Instrument,at,event\n",
		[]string{"events.csv:1:Instrument:unknown-column", "events.csv:1:instrument:missing-column"}},
	{"duplicate column", "events.csv", "instrument,at,event,at\n", []string{"events.csv:1:at:duplicate-column"}},
	{"missing columns", "events.csv", "\nnote\n",
		[]string{"events.csv:2:instrument:missing-column", "events.csv:2:at:missing-column", "events.csv:2:event:missing-column"}},
	{"semicolons", "events.csv", "instrument;at;event\n", []string{"events.csv:1::not-comma-separated"}},
	{"tabs", "events.csv", "instrument\tat\tevent\n", []string{"events.csv:1::not-comma-separated"}},
	{"UTF-16", "events.csv", "\xff\xfei\x00,\x00", []string{"events.csv:1::nul-character"}},

	{"fields", "events.csv", "instrument,at,event\nT,2026-03-02T07:05:00Z\n\nT,2026-03-02T07:05:00Z,moved,x\nT,,moved\n",
		[]string{"events.csv:2::wrong-number-of-fields", "events.csv:4::wrong-number-of-fields", "events.csv:5:at:required"}},
	{"line after a field of two lines", "events.csv", "instrument,at,event,note\nT,2026-03-02T07:05:00Z,moved,\"a\nb\"\nT,2026-03-02T07:05:00Z,sung,\n",
		[]string{"events.csv:4:event:unknown-word"}},
	{"quote never closed", "events.csv", "instrument,at,event,note\nT,2026-03-02T07:05:00Z,moved,\"a\nb\nc\n", []string{"events.csv:2::bad-quoting"}},
	{"bare quote", "events.csv", "instrument,at,event,note\nT,2026-03-02T07:05:00Z,moved,a\"b\n", []string{"events.csv:2::bad-quoting"}},
	{"not UTF-8", "events.csv", "instrument,at,event,note\nT,2026-03-02T07:05:00Z,moved,caf\xe9\nT,x,moved,\n",
		[]string{"events.csv:2:note:not-utf8", "events.csv:3:at:bad-time"}},
	{"NUL", "events.csv", "instrument,at,event,note\nT\x00,2026-03-02T07:05:00Z,moved,\n", []string{"events.csv:2:instrument:nul-character"}},
	{"a long field", "events.csv", "instrument,at,event,note\nT,2026-03-02T07:05:00Z,moved,\"" + strings.Repeat("x", 2<<20) + "\n",
		[]string{"events.csv:2::too-long"}},
	{"a long note", "events.csv", "instrument,at,event,note\nT,2026-03-02T07:05:00Z,moved," + strings.Repeat("x", 4001) + "\n",
		[]string{"events.csv:2:note:too-long"}},

	{"a note with a bell", "events.csv", "instrument,at,event,note\nT,2026-03-02T07:05:00Z,moved,ring\a\n", []string{"events.csv:2:note:control-character"}},
	{"a long policy", "policy.yaml", "# " + strings.Repeat("x", longestYAML), []string{"policy.yaml:0::too-long"}},

	{"codes", "lots.csv", "lot\n L-1\nL-2\u00a0\n\"L\t3\"\n" + strings.Repeat("é", 100) + "\n" + strings.Repeat("é", 101) + "\n",
		[]string{"lots.csv:2:lot:surrounding-space", "lots.csv:3:lot:surrounding-space", "lots.csv:4:lot:control-character", "lots.csv:6:lot:too-long"}},
	{"everything wrong in a row", "instruments.csv", instrumentHeader + ",R,0,0,glass,boss,fun,TRUE,0,2025-01-07,x\n", []string{
		"instruments.csv:2:unit:unknown-unit", "instruments.csv:2:instrument:required", "instruments.csv:2:kind:unknown-word",
		"instruments.csv:2:role:unknown-word", "instruments.csv:2:use:unknown-word", "instruments.csv:2:resolution:out-of-range",
		"instruments.csv:2:tolerance:out-of-range", "instruments.csv:2:range_low:not-a-number", "instruments.csv:2:adjustable:not-true-or-false",
		"instruments.csv:2:check_every_days:out-of-range", "instruments.csv:2:in_service_from:offset-required"}},
	{"no tolerance", "instruments.csv", instrumentHeader + "T,C,,,,,,,,,\n", []string{"instruments.csv:2:tolerance:required"}},
	{"days in parts", "instruments.csv", instrumentHeader + "T,C,1,,,,,,1.5,,\n", []string{"instruments.csv:2:check_every_days:not-a-whole-number"}},
	{"cold range", "instruments.csv", instrumentHeader + "T,C,1,,,,,,,,-300\n", []string{"instruments.csv:2:range_low:below-absolute-zero"}},
	{"mounting ends first", "mountings.csv", "instrument,location,from,to\nT,o,2026-03-02T07:00:00Z,2026-03-02T06:59:59Z\n",
		[]string{"mountings.csv:2:to:ends-before-it-begins"}},
	{"stay ends first", "stays.csv", "lot,location,from,to\nL,o,2026-03-02T07:00:00+02:00,2026-03-02T04:59:59Z\n",
		[]string{"stays.csv:2:to:ends-before-it-begins"}},
	{"lot ends first", "lots.csv", "lot,made_from,made_until\nL,2026-03-02T07:00:00Z,2026-03-01T07:00:00Z\n",
		[]string{"lots.csv:2:made_until:ends-before-it-begins"}},

	{"quantities", "lots.csv", "lot,quantity,quantity_unit\nL-1,-5,kg\nL-2,5,\nL-3,5.1234567,kg\nL-4,,kg\nL-5,1e3,kg\nL-6,0,each\n",
		[]string{"lots.csv:2:quantity:negative-quantity", "lots.csv:3:quantity_unit:quantity-without-unit",
			"lots.csv:4:quantity:not-a-quantity", "lots.csv:6:quantity:not-a-quantity"}},
	{"one unit for two quantities", "transformations.csv", "event,at,input_lot,output_lot,input_quantity,output_quantity\nx,2026-03-02T07:00:00Z,a,b,1,2\n",
		[]string{"transformations.csv:2:quantity_unit:quantity-without-unit"}},
	{"lot into itself", "transformations.csv", "event,at,input_lot,output_lot\nx,2026-03-02T07:00:00Z,a,a\n",
		[]string{"transformations.csv:2:output_lot:lot-into-itself"}},

	{"certificates", "certificates.csv", certHeader +
		"R,K,2025-06-01T00:00:00Z,2026-06-01T00:00:00Z,0,0,0.1,C\n" +
		"R,K,2025-06-02T00:00:00Z,2026-06-01T00:00:00Z,10,0,0.1,C\n" +
		"R,K,2025-06-01T00:00:00Z,2026-06-02T00:00:00Z,20,0,0.1,C\n" +
		"R,K,2025-06-01T00:00:00Z,2026-06-01T00:00:00Z,30,0,0.1,F\n" +
		"R,K,2025-06-01T02:00:00+02:00,2026-06-01T00:00:00Z,0.0,0,0.1,CEL\n" +
		"R,K2,2025-06-01T00:00:00Z,2026-06-01T00:00:00Z,0,0,-0.1,C\n",
		[]string{"certificates.csv:7:expanded_uncertainty:out-of-range", "certificates.csv:3:issued_at:certificate-differs",
			"certificates.csv:4:valid_until:certificate-differs", "certificates.csv:5:unit:certificate-differs",
			"certificates.csv:6:at:duplicate-point"}},

	{"no as-found", "checks.csv", checkHeader + "T,2026-03-02T07:00:00Z,ice,,,,0.1,C,A,,,\n", []string{"checks.csv:2:found:found-required"}},
	{"unusable with a value", "checks.csv", checkHeader + "T,2026-03-02T07:00:00Z,,,,1,,C,A,unusable,,\n", []string{"checks.csv:2:found:unusable-with-value"}},
	{"another outcome", "checks.csv", checkHeader + "T,2026-03-02T07:00:00Z,,,,,,,A,lost,,\n", []string{"checks.csv:2:outcome:unknown-word"}},
	{"no point, no unit", "checks.csv", checkHeader + "T,2026-03-02T07:00:00Z,,,,1,,,A,,,\n", []string{"checks.csv:2:point:required", "checks.csv:2:unit:required"}},
	{"nothing to compare with", "checks.csv", checkHeader + "T,2026-03-02T07:00:00Z,comparison,R,,1,,C,A,,,\n",
		[]string{"checks.csv:2:reference_reading:reference-reading-required"}},
	{"ice with a reference", "checks.csv", checkHeader + "T,2026-03-02T07:00:00Z,ice,R,,1,,C,A,,,\nT2,2026-03-02T07:00:00Z,boiling,R,,99,,C,A,,,\n",
		[]string{"checks.csv:2:reference:reference-not-allowed", "checks.csv:3:reference:reference-not-allowed"}},
	{"pressure in another unit", "checks.csv", checkHeader + "T,2026-03-02T07:00:00Z,boiling,,,99,,C,A,,-0.1,1013\n",
		[]string{"checks.csv:2:reference_uncertainty:out-of-range", "checks.csv:2:pressure_kpa:out-of-range"}},
	{"two stories of one check", "checks.csv", checkHeader + "T,2026-03-02T07:00:00Z,ice,,,1,,C,A,,,\nT,2026-03-02T08:00:00+01:00,boiling,,,99,,C,B,,,\n" +
		"T,2026-03-02T07:00:00Z,,,,,,,A,unusable,,\n",
		[]string{"checks.csv:3:performed_by:check-differs", "checks.csv:4:outcome:check-differs"}},

	{"two verifiers of one check", "checks.csv", "instrument,performed_at,point,found,unit,verified_by\nT,2026-03-02T07:00:00Z,ice,1,C,A\nT,2026-03-02T07:00:00Z,ice,1,C,B\n",
		[]string{"checks.csv:3:verified_by:check-differs"}},

	{"readings", "readings.csv", readingHeader + "T,2026-03-01T10:00:00Z,NaN,C,,\nT,2026-03-01T10:00:00,1,C,,\nT,2026-03-01T10:00:00Z,1,R,,\n" +
		"T,2026-03-01T10:00:00Z,-300,C,,\n,,,,,\nT,2026-03-01T10:00:00Z,1,C,L ,\u0085\nT,2026-03-01T10:00:00Z,1,C\nT,soon,1,C,,\n",
		[]string{"readings.csv:2:value:not-a-number", "readings.csv:3:taken_at:offset-required", "readings.csv:4:unit:unknown-unit",
			"readings.csv:5:value:below-absolute-zero", "readings.csv:6:instrument:required", "readings.csv:6:taken_at:required",
			"readings.csv:6:unit:required", "readings.csv:6:value:required", "readings.csv:7:lot:surrounding-space",
			"readings.csv:7:source_id:surrounding-space", "readings.csv:8::wrong-number-of-fields", "readings.csv:9:taken_at:bad-time"}},
	{"readings with a broken quote", "readings.csv", readingHeader + "T,2026-03-01T10:00:00Z,1,C,,\nT,2026-03-01T10:00:00Z,\"1\"2,C,,\nT,soon,1,C,,\n",
		[]string{"readings.csv:3::bad-quoting"}},

	{"site keys", "site.yaml", "name: x\ntime_zone: Europe/Dublin\nheight: 3\nname: y\naltitude_m: [1]\n",
		[]string{"site.yaml:3:height:unknown-column", "site.yaml:4:name:duplicate-column", "site.yaml:5:altitude_m:not-one-value"}},
	{"site zone", "site.yaml", "name: x\n\ntime_zone: Ireland\naltitude_m: 12000\n",
		[]string{"site.yaml:4:altitude_m:out-of-range", "site.yaml:3:time_zone:unknown-time-zone"}},
	{"site zone of the machine", "site.yaml", "name: x\ntime_zone: Local\n", []string{"site.yaml:2:time_zone:unknown-time-zone"}},
	{"site without a name", "site.yaml", "time_zone: Europe/Dublin\naltitude_m: 1e3\n",
		[]string{"site.yaml:0:name:required", "site.yaml:2:altitude_m:not-a-number"}},
	{"site as a list", "site.yaml", "- a\n", []string{"site.yaml:0::bad-yaml"}},
	{"site that is no yaml", "site.yaml", "name: x\ntime_zone: [\n", []string{"site.yaml:3::bad-yaml"}},
	{"site of two documents", "site.yaml", "name: x\n---\nname: y\n", []string{"site.yaml:0::bad-yaml"}},
}

// TestProblems: the very row, column and rule are named, and nothing else.
func TestProblems(t *testing.T) {
	t.Parallel()
	for _, c := range spoilt {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			_, _, bad := readAll(writeFolder(t, with(map[string]string{c.file: c.text})))
			if d := cmp.Diff(c.want, briefs(bad)); d != "" {
				t.Errorf("(-want +got)\n%s\n%v", d, bad)
			}
			for _, p := range bad {
				if p.Detail == "" || !utf8.ValidString(p.Detail) || strings.ContainsAny(p.Detail, "\x00\n") || len(p.Detail) > 600 {
					t.Errorf("%s: no sentence for a person: %q", brief(p), p.Detail)
				}
			}
		})
	}
}

// TestAllowedAreNamed: who wrote an unknown word or column is told the known
// ones.
func TestAllowedAreNamed(t *testing.T) {
	t.Parallel()
	_, _, bad := readAll(writeFolder(t, with(map[string]string{
		"events.csv":    "instrument,at,event\nT,2026-03-02T07:05:00Z,sung\n",
		"mountings.csv": "instrument,place,from\n",
	})))
	got := ""
	for _, p := range bad {
		got += p.Error() + "\n"
	}
	for _, want := range []string{
		`events.csv:2: event: "sung" is not known here; write removed_from_use, returned_to_use,`,
		`mountings.csv:1: place: mountings has no column "place"; its columns are instrument, location, from, to [unknown-column]`,
	} {
		if !strings.Contains(got, want) {
			t.Errorf("%q is not in\n%s", want, got)
		}
	}
}

// TestFolder: what lies in the folder besides.
func TestFolder(t *testing.T) {
	t.Parallel()
	dir := writeFolder(t, with(map[string]string{"notes.txt": "x", "readings.xlsx": "x", "Lots.csv": "x"}))
	for _, name := range []string{"old", "stays.ndjson.gz"} {
		if err := os.Mkdir(filepath.Join(dir, name), 0o755); err != nil {
			t.Fatal(err)
		}
	}
	for _, name := range []string{"policy.yaml", "shipments.csv"} {
		if err := os.Truncate(filepath.Join(dir, name), 0); err != nil {
			t.Fatal(err)
		}
	}
	if err := os.Rename(filepath.Join(dir, "stays.csv"), filepath.Join(dir, "stays.bak")); err != nil {
		t.Fatal(err)
	}
	f, _, bad := readAll(dir)
	want := []string{"policy.yaml:0::empty-file", "stays.ndjson.gz:0::unreadable", "shipments.csv:0::empty-file"}
	if d := cmp.Diff(want, briefs(bad)); d != "" {
		t.Error(d)
	}
	left := []string{"Lots.csv", "notes.txt", "old", "readings.xlsx", "stays.bak"}
	for i, name := range left {
		if i >= len(f.Warnings) || !strings.HasPrefix(f.Warnings[i], name+" ") {
			t.Errorf("warnings %q, want one for each of %q", f.Warnings, left)
			break
		}
	}
}

// TestNoFolder: a folder that is not there is one problem and not many.
func TestNoFolder(t *testing.T) {
	t.Parallel()
	dir := filepath.Join(t.TempDir(), "nowhere")
	f, readings, bad := readAll(dir)
	if d := cmp.Diff([]string{dir + ":0::unreadable"}, briefs(bad)); d != "" || f == nil || len(readings) > 0 {
		t.Error(d, f, readings)
	}
}

// TestRulesAreListed: every rule that the code can give stands in the package's
// story, where those who answer to it look it up.
func TestRulesAreListed(t *testing.T) {
	t.Parallel()
	story, err := os.ReadFile("doc.go")
	if err != nil {
		t.Fatal(err)
	}
	files, err := filepath.Glob("*.go")
	if err != nil {
		t.Fatal(err)
	}
	named := regexp.MustCompile(`(?:flawf\(|Rule: )"([a-z-]+)"`)
	n := 0
	for _, file := range files {
		code, err := os.ReadFile(file)
		if err != nil {
			t.Fatal(err)
		}
		for _, m := range named.FindAllSubmatch(code, -1) {
			n++
			if !regexp.MustCompile(`\b` + string(m[1]) + `[,.\s]`).Match(story) {
				t.Errorf("%s: the rule %s is not listed in doc.go", file, m[1])
			}
		}
	}
	if n < 40 { // there are more; fewer means that the search has gone blind
		t.Errorf("only %d rules were found", n)
	}
}
