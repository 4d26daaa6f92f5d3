package api

import (
	"net/http"
	"strings"
	"testing"

	"github.com/go-json-experiment/json"
	"github.com/google/go-cmp/cmp"

	"lastgood/policy/unit"
)

// got decodes an answer of a status.
func got[T any](p *plant, res *http.Response, body string, status int) (v T) {
	p.t.Helper()
	if res.StatusCode != status {
		p.t.Fatalf("status %d, want %d\n%s", res.StatusCode, status, body)
	}
	digits := json.UnmarshalFunc(func(b []byte, d *Degrees) error {
		m, err := unit.ParseMicro(string(b))
		*d = Degrees(m)
		return err
	})
	if err := json.Unmarshal([]byte(body), &v, json.WithUnmarshalers(digits)); err != nil {
		p.t.Fatalf("%v\n%s", err, body)
	}
	return v
}

// posts sends facts and returns what became of them.
func (p *plant) posts(path, items string) CountsBody {
	p.t.Helper()
	res, body := p.call("POST", path, `{"items":[`+items+`]}`)
	return got[CountsBody](p, res, body, http.StatusCreated)
}

// facts are an invented plant's, in the order in which they can be sent: path,
// items, how many, the same key with another value, the field that then differs.
var facts = []struct {
	path, items string
	n           int
	other       string
	field       string
}{
	{"/v1/instruments", `{"instrument":"T-1","kind":"thermocouple","unit":"FAH","tolerance":1.0,"resolution":"0.1","in_service_from":"2025-03-01T00:00:00Z"},
		{"instrument":"R-1","role":"reference","unit":"F","tolerance":0.2}`, 2,
		`{"instrument":"R-1","role":"reference","unit":"F","tolerance":0.3}`, "tolerance"},
	{"/v1/certificates", `{"instrument":"R-1","certificate":"C-1","issued_at":"2025-01-01T00:00:00Z","valid_until":"2026-01-01T00:00:00Z","unit":"F",
		"points":[{"at":160,"correction":0.1,"expanded_uncertainty":0.1},{"at":32,"correction":-0.05,"expanded_uncertainty":0.1}]}`, 1,
		`{"instrument":"R-1","certificate":"C-1","issued_at":"2025-01-01T00:00:00Z","valid_until":"2026-01-01T00:00:00Z","unit":"F",
		"points":[{"at":160,"correction":0.2,"expanded_uncertainty":0.1},{"at":32,"correction":-0.05,"expanded_uncertainty":0.1}]}`, "points"},
	{"/v1/mountings", `{"instrument":"T-1","location":"cooler","from":"2025-03-01T00:00:00Z","to":"2025-03-09T00:00:00Z"}`, 1,
		`{"instrument":"T-1","location":"cooler","from":"2025-03-01T00:00:00Z","to":"2025-03-10T00:00:00Z"}`, "to"},
	{"/v1/events", `{"instrument":"T-1","at":"2025-03-03T00:00:00+01:00","event":"battery_changed","note":"low"}`, 1,
		`{"instrument":"T-1","at":"2025-03-02T23:00:00Z","event":"battery_changed","note":"flat"}`, "note"},
	{"/v1/products", `{"product":"roast","name":"roast","ready_to_eat":true}`, 1, "", ""},
	{"/v1/lots", `{"lot":"L-1","product":"roast","made_at":"2025-03-03T10:00:00Z","quantity":100.50,"quantity_unit":"kg"},{"lot":"L-2"}`, 2,
		`{"lot":"L-1","product":"roast","made_at":"2025-03-03T10:00:00Z","quantity":"100.6","quantity_unit":"kg"}`, "quantity"},
	{"/v1/locations", `{"location":"tank","vessel":true,"note":"2000 l"}`, 1, "", ""},
	{"/v1/cleanouts", `{"location":"tank","from":"2025-03-02T20:00:00Z","at":"2025-03-02T21:00:00Z","note":"caustic"}`, 1,
		`{"location":"tank","from":"2025-03-02T20:30:00Z","at":"2025-03-02T21:00:00Z","note":"caustic"}`, "from"},
	{"/v1/stays", `{"lot":"L-1","location":"cooler","from":"2025-03-03T12:00:00Z","to":"2025-03-04T12:00:00Z"}`, 1,
		`{"lot":"L-1","location":"cooler","from":"2025-03-03T12:00:00Z","to":"2025-03-04T13:00:00Z"}`, "to"},
	{"/v1/transformations", `{"event":"X-1","at":"2025-03-04T14:00:00Z","input_lot":"L-1","input_quantity":10,"output_lot":"L-9","output_quantity":9,"quantity_unit":"kg"}`, 1,
		`{"event":"X-1","at":"2025-03-04T14:00:00Z","input_lot":"L-1","input_quantity":11,"output_lot":"L-9","output_quantity":9,"quantity_unit":"kg"}`, "input_quantity"},
	{"/v1/shipments", `{"shipment":"S-1","lot":"L-1","quantity":20,"quantity_unit":"kg","shipped_at":"2025-03-05T00:00:00Z","consignee":"a customer"}`, 1,
		`{"shipment":"S-1","lot":"L-1","quantity":20,"quantity_unit":"kg","shipped_at":"2025-03-05T00:00:00Z","consignee":"another"}`, "consignee"},
}

// TestFactsTwice: what is sent twice changes nothing and leaves no trace; another
// value under the same key is a conflict that names the field.
func TestFactsTwice(t *testing.T) {
	t.Parallel()
	p := newPlant(t)
	for _, f := range facts {
		if c := p.posts(f.path, f.items); !cmp.Equal(c, CountsBody{Accepted: f.n}) {
			t.Errorf("%s: first %+v", f.path, c)
		}
	}
	_, before := p.call("GET", "/v1/trail?stream=administration&limit=1000", "")
	for _, f := range facts {
		if c := p.posts(f.path, f.items); !cmp.Equal(c, CountsBody{Unchanged: f.n}) {
			t.Errorf("%s: again %+v", f.path, c)
		}
		if f.other == "" {
			continue
		}
		res, body := p.call("POST", f.path, `{"items":[`+f.other+`]}`)
		doc := p.refused(res, body, 422, "rows-refused")
		if len(doc.Errors) != 1 || doc.Errors[0].Rule != "conflict" || doc.Errors[0].Location != "body.items[0]."+f.field {
			t.Errorf("%s: %+v", f.path, doc.Errors)
		}
	}
	if _, after := p.call("GET", "/v1/trail?stream=administration&limit=1000", ""); after != before {
		t.Errorf("what was sent twice left a trace:\n%s\nbefore:\n%s", after, before)
	}
	if c := p.posts("/v1/products", `{"product":"roast","name":"cold roast","ready_to_eat":true}`); c.Accepted != 1 {
		t.Errorf("a product brought up to date: %+v", c)
	}
}

// TestFactsComeBack: lists and single things say what was recorded.
func TestFactsComeBack(t *testing.T) {
	t.Parallel()
	p := newPlant(t)
	for _, f := range facts {
		p.posts(f.path, f.items)
	}
	for path, want := range map[string]string{
		"/v1/instruments/T-1":         `"resolution":0.1,"tolerance":1,`,
		"/v1/certificates":            `"points":[{"at":32,"correction":-0.05,"expanded_uncertainty":0.1},{"at":160,`,
		"/v1/mountings":               `"to":"2025-03-09T00:00:00Z"`,
		"/v1/events?instrument=T-1":   `"at":"2025-03-02T23:00:00Z","event":"battery_changed"`,
		"/v1/products":                `"ready_to_eat":true`,
		"/v1/stays?lot=L-1":           `"location":"cooler"`,
		"/v1/locations":               `{"location":"tank","vessel":true,"note":"2000 l"}`,
		"/v1/cleanouts":               `"at":"2025-03-02T21:00:00Z","from":"2025-03-02T20:00:00Z","note":"caustic"`,
		"/v1/transformations?lot=L-9": `"input_lot":"L-1","input_quantity":"10"`,
		"/v1/shipments?lot=L-1":       `"consignee":"a customer"`,
		"/v1/lots/L-1":                `"remaining":"70.50"`,
	} {
		res, body := p.call("GET", path, "")
		if res.StatusCode != 200 || !strings.Contains(body, want) {
			t.Errorf("%s: %d without %s\n%s", path, res.StatusCode, want, body)
		}
	}
	res, _ := p.call("GET", "/v1/lots/L-1", "")
	if res.Header.Get("ETag") == "" {
		t.Error("a lot without its version")
	}
	seen, next := 0, "/v1/lots?limit=1"
	for ; next != "" && seen < 9; seen++ {
		res, body := p.call("GET", next, "")
		one := got[Page[LotBody]](p, res, body, 200)
		next = ""
		if one.NextCursor != nil {
			next = "/v1/lots?limit=1&cursor=" + *one.NextCursor
		}
	}
	if seen != 3 { // L-1, L-2, and L-9 that a transformation named
		t.Errorf("%d pages of one lot", seen)
	}
}

// TestBadFacts: every kind of bad input is a problem document that names place
// and rule, and nothing of its list is written.
func TestBadFacts(t *testing.T) {
	t.Parallel()
	p := newPlant(t)
	good := `{"instrument":"T-8","unit":"C","tolerance":1}`
	for _, c := range []struct {
		name, path, body string
		status           int
		rule             string // of the document
		where, what      string // of its first error
	}{
		{"no offset", "/v1/lots", `{"items":[{"lot":"a"},{"lot":"b","made_at":"2025-03-03T10:00:00"}]}`, 422, "rows-refused", "body.items[1].made_at", "offset-required"},
		{"unknown unit", "/v1/instruments", `{"items":[` + good + `,{"instrument":"T-9","unit":"degF","tolerance":1}]}`, 422, "rows-refused", "body.items[1].unit", "unknown-unit"},
		{"not a number", "/v1/instruments", `{"items":[{"instrument":"T-9","unit":"C","tolerance":"NaN"}]}`, 422, "rows-refused", "body.items[0].tolerance", "not-a-number"},
		{"unknown member", "/v1/lots", `{"items":[{"lot":"a","colour":"red"}]}`, 422, "rows-refused", "body.items[0].colour", "unknown-column"},
		{"wrong case", "/v1/lots", `{"items":[{"Lot":"a"}]}`, 422, "rows-refused", "body.items[0].Lot", "unknown-column"},
		{"missing", "/v1/lots", `{"items":[{"product":"a"}]}`, 422, "rows-refused", "body.items[0].lot", "required"},
		{"negative", "/v1/lots", `{"items":[{"lot":"a","quantity":-1,"quantity_unit":"kg"}]}`, 422, "rows-refused", "body.items[0].quantity", "negative-quantity"},
		{"a list in a value", "/v1/lots", `{"items":[{"lot":["a"]}]}`, 422, "rows-refused", "body.items[0].lot", "not-one-value"},
		{"not an object", "/v1/lots", `{"items":[7]}`, 422, "rows-refused", "body.items[0]", "bad-json"},
		{"unknown instrument", "/v1/mountings", `{"items":[{"instrument":"T-0","location":"a","from":"2025-03-03T10:00:00Z"}]}`, 422, "rows-refused", "body.items[0].instrument", "unknown-instrument"},
		{"of itself", "/v1/transformations", `{"items":[{"event":"x","at":"2025-03-03T10:00:00Z","input_lot":"a","output_lot":"a"}]}`, 422, "rows-refused", "body.items[0].output_lot", "lot-into-itself"},
		{"a wrong GS1 key", "/v1/lots", `{"items":[{"lot":"(01)04012345123457(10)998877"}]}`, 422, "rows-refused", "body.items[0].lot", "gs1-check-digit"},
		{"itself otherwise", "/v1/lots", `{"items":[{"lot":"a"},{"lot":"a","product":"b"}]}`, 422, "rows-refused", "body.items[1].lot", "conflict"},
		{"no point", "/v1/certificates", `{"items":[{"instrument":"R","certificate":"c","issued_at":"2025-01-01T00:00:00Z","valid_until":"2026-01-01T00:00:00Z","unit":"F","points":[]}]}`, 422, "rows-refused", "body.items[0].at", "required"},
		{"no items", "/v1/lots", `{"items":[]}`, 422, "out-of-range", "body", "out-of-range"},
		{"too many items", "/v1/lots", `{"items":[` + strings.Repeat("{},", 5000) + `{}]}`, 422, "out-of-range", "body", "out-of-range"},
		{"unknown member beside", "/v1/lots", `{"items":[{"lot":"a"}],"more":1}`, 422, "unknown-column", "body/more", "unknown-column"},
		{"duplicate member", "/v1/lots", `{"items":[{"lot":"a","lot":"b"}]}`, 400, "duplicate-member", "body/items/0/lot", "duplicate-member"},
		{"no JSON", "/v1/lots", `{"items":[{"lot":"a"}`, 400, "bad-json", "", "bad-json"},
		{"items no list", "/v1/lots", `{"items":7}`, 422, "bad-json", "body/items", "bad-json"},
		{"a check without found", "/v1/checks", `{"instrument":"T-1","performed_at":"2025-03-04T06:00:00Z","points":[{"point":"ice","unit":"C"}]}`, 422, "found-required", "body.found", "found-required"},
		{"points no list", "/v1/checks", `{"instrument":"T-1","performed_at":"2025-03-04T06:00:00Z","points":7}`, 422, "bad-json", "body", "bad-json"},
		{"nothing happened", "/v1/happenings", `{}`, 422, "out-of-range", "body", "out-of-range"},
	} {
		t.Run(c.name, func(t *testing.T) {
			q := *p
			q.t = t
			res, body := q.call("POST", c.path, c.body)
			doc := q.refused(res, body, c.status, c.rule)
			if len(doc.Errors) == 0 || doc.Errors[0].Rule != c.what || c.where != "" && doc.Errors[0].Location != c.where {
				t.Errorf("%+v", doc.Errors)
			}
		})
	}
	for _, path := range []string{"/v1/lots", "/v1/instruments", "/v1/transformations"} {
		if res, body := p.call("GET", path, ""); res.StatusCode != 200 || !strings.Contains(body, `"items":[]`) {
			t.Errorf("%s: something of a refused list was written\n%s", path, body)
		}
	}
	res, body := p.call("POST", "/v1/lots", "<lot/>", "Content-Type", "text/xml")
	p.refused(res, body, 415, "media-type")
	res, body = p.call("POST", "/v1/lots", `{"items":["`+strings.Repeat("x", 2<<20)+`"]}`)
	p.refused(res, body, 413, "too-large")
	res, body = p.call("GET", "/v1/lots?lots=1", "")
	p.refused(res, body, 422, "invalid")
}

// TestFactsIdempotencyKey: the same key with the same request is answered as the
// first time, with another it is refused.
func TestFactsIdempotencyKey(t *testing.T) {
	t.Parallel()
	p := newPlant(t)
	send := func(items string) (*http.Response, string) {
		return p.call("POST", "/v1/lots", `{"items":[`+items+`]}`, "Idempotency-Key", `"k-1"`)
	}
	for range 2 {
		res, body := send(`{"lot":"L-1"}`)
		if c := got[CountsBody](p, res, body, 201); c.Accepted != 1 {
			t.Errorf("%+v", c)
		}
	}
	res, body := send(`{"lot":"L-2"}`)
	p.refused(res, body, 422, "idempotency-key-reused")
}
