package api

import (
	"context"
	"encoding/csv"
	"net/http"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/go-json-experiment/json"
	"github.com/google/go-cmp/cmp"
	"github.com/xuri/excelize/v2"

	"lastgood/policy/unit"
	"lastgood/workflow/key"
	"lastgood/workflow/lot"
)

// exportCase is newCase with product that went on: L-1 into R-1 together with
// good product, some of R-1 shipped to somebody whose name is a formula.
func exportCase(t *testing.T) *plant {
	t.Helper()
	p := newCase(t)
	ctx := context.Background()
	kg := func(s string) *unit.Quantity { return &unit.Quantity{Amount: s, Unit: "kg"} }
	_, err := p.svc.AddTransformations(ctx, p.scope, []lot.Transformation{
		{Event: "E-1", At: march(3, 15), Input: "L-1", InputQuantity: kg("60.50"), Output: "R-1", OutputQuantity: kg("100")},
		{Event: "E-1", At: march(3, 15), Input: "GOOD", InputQuantity: kg("39.5"), Output: "R-1", OutputQuantity: kg("100")}})
	p.must(err)
	_, err = p.svc.AddShipments(ctx, p.scope, []lot.Shipment{{Shipment: "S-1", Lot: "R-1", Quantity: kg("25"), ShippedAt: march(3, 20), Consignee: `=HYPERLINK("x")`}})
	p.must(err)
	_, err = p.svc.Trace(ctx, p.scope, 1)
	p.must(err)
	return p
}

// csvOf returns one sheet, a map a row.
func (p *plant) csvOf(query string) []map[string]string {
	p.t.Helper()
	res, body := p.call("GET", "/v1/deviations/1/trace.csv"+query, "")
	if res.StatusCode != http.StatusOK || res.Header.Get("Content-Type") != "text/csv" {
		p.t.Fatalf("%d %s %s", res.StatusCode, res.Header.Get("Content-Type"), body)
	}
	rows, err := csv.NewReader(strings.NewReader(body)).ReadAll()
	p.must(err)
	return byColumn(rows)
}

func byColumn(rows [][]string) []map[string]string {
	out := []map[string]string{}
	for _, r := range rows[1:] {
		m := map[string]string{}
		for i, c := range rows[0] {
			if i < len(r) {
				m[c] = r[i]
			}
		}
		out = append(out, m)
	}
	return out
}

// short cuts a number after three decimals: spreadsheets keep fifteen digits.
func short(s string) string {
	if i := strings.IndexByte(s, '.'); i >= 0 && len(s) > i+4 {
		if _, err := strconv.ParseFloat(s, 64); err == nil {
			return s[:i+4]
		}
	}
	return s
}

func pick(rows []map[string]string, columns ...string) []string {
	out := []string{}
	for _, r := range rows {
		var cells []string
		for _, c := range columns {
			cells = append(cells, short(r[c]))
		}
		out = append(out, strings.Join(cells, "|"))
	}
	return out
}

func TestExportCSV(t *testing.T) {
	t.Parallel()
	p := exportCase(t)
	for sheet, c := range map[string]struct{ columns, want []string }{
		"":             {[]string{"lot", "limit", "verdict", "readings", "headroom", "measure_unit"}, []string{"L-1|cook-core|indeterminate|1|0|C", "L-2|cook-core|met|1|4.444|C"}},
		"?sheet=holds": {[]string{"lot", "because_of", "quantity", "quantity_unit", "acknowledged"}, []string{"L-1|L-1|100|kg|false", "L-2|L-2|100|kg|false", "R-1|L-1|||false"}},
		"?sheet=shipped": {[]string{"lot", "because_of", "shipment", "consignee", "quantity", "shipped_at", "shipped_at_utc"},
			[]string{`R-1|L-1|S-1|'=HYPERLINK("x")|25|2025-03-03T20:00:00Z|2025-03-03T20:00:00.000000Z`}},
		"?sheet=lots": {[]string{"lot", "quantity", "because_of", "verdict"}, []string{"L-1|100|L-1|indeterminate", "L-2|100|L-2|met", "R-1||L-1|"}},
		"?sheet=transformations": {[]string{"event", "input_lot", "input_in_doubt", "input_quantity", "output_lot", "output_in_doubt", "output_quantity"},
			[]string{"E-1|GOOD|false|39.5|R-1|true|100", "E-1|L-1|true|60.50|R-1|true|100"}},
		"?sheet=readings": {[]string{"lot", "limit", "instrument", "taken_at", "taken_at_utc", "value", "unit", "standing", "limit_unit", "recorded"},
			[]string{"L-1|cook-core|T-1|2025-03-03T10:00:00Z|2025-03-03T10:00:00.000000Z|160|F|known|F|160", "L-2|cook-core|T-1|2025-03-03T11:00:00Z|2025-03-03T11:00:00.000000Z|168|F|known|F|168"}},
	} {
		if d := cmp.Diff(c.want, pick(p.csvOf(sheet), c.columns...)); d != "" {
			t.Errorf("%s\n%s", sheet, d)
		}
	}
}

// TestExportEqualsJSON: design notes on standards, §14 test 6.
func TestExportEqualsJSON(t *testing.T) {
	t.Parallel()
	p := exportCase(t)
	_, body := p.call("GET", "/v1/deviations/1", "")
	var d DeviationBody
	p.must(json.Unmarshal([]byte(body), &d))
	res, book := p.call("GET", "/v1/deviations/1/trace.xlsx", "")
	if res.StatusCode != http.StatusOK || res.Header.Get("Content-Type") != asXLSX || res.Header.Get("Content-Length") != strconv.Itoa(len(book)) ||
		res.Header.Get("Content-Disposition") != "attachment; filename=deviation-1-trace.xlsx" {
		t.Fatalf("%d %v", res.StatusCode, res.Header)
	}
	f, err := excelize.OpenReader(strings.NewReader(book))
	p.must(err)
	if d := cmp.Diff([]string{"summary", "assessments", "holds", "shipped", "lots", "transformations", "readings"}, f.GetSheetList()); d != "" {
		t.Error(d)
	}
	said := map[string]string{}
	for _, r := range p.sheetOf(f, "summary") {
		said[r["field"]] = r["value"]
	}
	for field, want := range map[string]string{"caution": d.Caution, "instrument": "T-1", "plant": "Tallow Mere Kitchens", "run": strconv.Itoa(d.Run), "same_evidence": "1",
		"readings": strconv.FormatInt(d.Readings, 10), "failed_at_utc": "2025-03-04T06:00:00.000000Z", "assessments.indeterminate": "1", "assessments.met": "1", "assessments.unknown": "0",
		"holds": strconv.Itoa(len(d.Holds)), "shipped": strconv.Itoa(len(d.Shipped)), "lots": "3", "error.model": d.Error.Model, "error.points.2.basis": d.Error.Points[1].Basis} {
		if said[field] != want {
			t.Errorf("%s is %q, want %q", field, said[field], want)
		}
	}
	var want []string
	for _, a := range d.Assessments {
		want = append(want, a.Lot+"|"+a.Verdict+"|"+short(strconv.FormatFloat(*a.Headroom, 'f', -1, 64))+"|"+strconv.Itoa(a.Score)+"|"+strings.Join(a.Reasons, "; "))
	}
	if d := cmp.Diff(want, pick(p.sheetOf(f, "assessments"), "lot", "verdict", "headroom", "score", "reasons")); d != "" {
		t.Error(d)
	}
	if d := cmp.Diff([]string{`=HYPERLINK("x")|25`}, pick(p.sheetOf(f, "shipped"), "consignee", "quantity")); d != "" {
		t.Error(d)
	}
	if rows := p.sheetOf(f, "readings"); len(rows) != 2 || rows[0]["value"] != "160" {
		t.Errorf("%v", rows)
	}
	for _, cell := range []string{"B2", "F2"} { // lot's reading: limit is text, value a number
		kind, err := f.GetCellType("readings", cell)
		if err != nil || kind != excelize.CellTypeInlineString {
			t.Errorf("%s: %v, %v", cell, kind, err)
		}
	}
	if kind, _ := f.GetCellType("readings", "J2"); kind != excelize.CellTypeUnset {
		t.Errorf("a value is %v and no number", kind)
	}
}

func (p *plant) sheetOf(f *excelize.File, name string) []map[string]string {
	p.t.Helper()
	rows, err := f.GetRows(name, excelize.Options{RawCellValue: true})
	p.must(err)
	return byColumn(rows)
}

// TestExportSaysWhatIsNew: readings that came after the last run are in it, and
// it says that the run did not see them.
func TestExportSaysWhatIsNew(t *testing.T) {
	t.Parallel()
	p := newCase(t)
	p.reads("L-2", march(3, 12), 167)
	if got := pick(p.csvOf("?sheet=readings"), "lot", "value"); !slices.Equal(got, []string{"L-1|160", "L-2|168", "L-2|167"}) {
		t.Errorf("%q", got)
	}
	said := p.csvOf("?sheet=summary")
	i := slices.IndexFunc(said, func(r map[string]string) bool { return r["field"] == "same_evidence" })
	if i < 0 || said[i]["value"] != "false" {
		t.Errorf("%v", said)
	}
}

func TestExportRefuses(t *testing.T) {
	t.Parallel()
	p := newCase(t)
	narrow := p.newKey("narrow", []key.Scope{key.FactsRead}, time.Now().Add(time.Hour))
	for _, path := range []string{"/trace.csv", "/trace.xlsx"} {
		res, body := p.call("GET", "/v1/deviations/1"+path, "", "Authorization", "Bearer "+narrow)
		p.refused(res, body, 403, "scope-missing")
		res, body = p.call("GET", "/v1/deviations/2"+path, "")
		p.refused(res, body, 404, "unknown-deviation")
	}
	res, body := p.call("GET", "/v1/deviations/1/trace.csv?sheet=secrets", "")
	p.refused(res, body, 422, "invalid")
}
