package api

import (
	"bufio"
	"bytes"
	"compress/gzip"
	"context"
	"fmt"
	"io"
	"net"
	"net/http"
	"net/http/httptest"
	"regexp"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/go-json-experiment/json"
	"github.com/klauspost/compress/zstd"

	"lastgood/policy/unit"
	"lastgood/workflow/instrument"
	"lastgood/workflow/lot"
)

// newKitchen is a plant with a thermometer T-1 and two lots.
func newKitchen(t *testing.T) *plant {
	t.Helper()
	p := newPlant(t)
	since := march(1, 0)
	_, err := p.svc.AddInstruments(context.Background(), p.scope, []instrument.Instrument{{Code: "T-1", Unit: unit.FahrenheitScale,
		Tolerance: unit.PerDegree, InServiceFrom: &since}})
	p.must(err)
	_, err = p.svc.AddLots(context.Background(), p.scope, []lot.Lot{{Code: "L-1"}, {Code: "L-2"}})
	p.must(err)
	return p
}

// uploads sends a file of readings.
func (p *plant) uploads(batch, mediaType, text string, headers ...string) (*http.Response, string) {
	p.t.Helper()
	return p.call("POST", "/v1/readings?batch="+batch, text, append([]string{"Content-Type", mediaType}, headers...)...)
}

// broke decodes the problem document of an upload that ended early.
func (p *plant) broke(res *http.Response, body string, status int, rule string) BrokenUpload {
	p.t.Helper()
	p.refused(res, body, status, rule)
	var b BrokenUpload
	if err := json.Unmarshal([]byte(body), &b); err != nil {
		p.t.Fatalf("%v\n%s", err, body)
	}
	return b
}

// stored returns how many readings of T-1 there are.
func (p *plant) stored() int {
	p.t.Helper()
	n := 0
	for next := "/v1/readings?instrument=T-1&limit=1000"; next != ""; {
		res, body := p.call("GET", next, "")
		one := got[Page[struct{ Value float64 }]](p, res, body, 200)
		n, next = n+len(one.Items), ""
		if one.NextCursor != nil {
			next = "/v1/readings?instrument=T-1&limit=1000&cursor=" + *one.NextCursor
		}
	}
	return n
}

const csvHead = "instrument,taken_at,value,unit,lot,limit,location\n"

// rows is n readings of T-1, a second apart, of alternating value.
func rows(n int) string {
	var b strings.Builder
	b.WriteString(csvHead)
	for i := range n {
		b.WriteString(row(i))
	}
	return b.String()
}

func row(i int) string {
	return fmt.Sprintf("T-1,%s,16%d.50,F,L-1,cook-core,\n", march(3, 0).Add(time.Duration(i)*time.Second).Format(time.RFC3339), i%10)
}

func zipped(text string) string {
	var b bytes.Buffer
	z := gzip.NewWriter(&b)
	_, _ = io.WriteString(z, text) // into memory
	_ = z.Close()
	return b.String()
}

// recordedAt is when a reading came in, which no test knows before.
var recordedAt = regexp.MustCompile(`,"recorded_at":"[^"]*"`)

// TestUploadForms: the same rows in every form and compression, as they were
// recorded.
func TestUploadForms(t *testing.T) {
	t.Parallel()
	lines := `{"instrument":"T-1","taken_at":"2025-03-03T10:00:00+01:00","value":161.50,"unit":"FAH","lot":"L-1","limit":"cook-core"}` + "\n\n" +
		`{"instrument":"T-1","taken_at":"2025-03-03T11:00:00Z","value":"4.0","unit":"C","location":"cooler","taken_by":"op-1"}` + "\n"
	table := "value,unit,instrument,taken_at,lot,limit,location,taken_by\n" +
		"161.50,F,T-1,2025-03-03T09:00:00Z,L-1,cook-core,,\n4.0,C,T-1,2025-03-03T11:00:00Z,,,cooler,op-1\n"
	z, err := zstd.NewWriter(nil)
	if err != nil {
		t.Fatal(err)
	}
	for name, c := range map[string]struct {
		mediaType, text, encoding string
		accepted                  [][2]int
		last                      int
	}{
		"ndjson":      {ndjson, lines, "", [][2]int{{1, 3}}, 3},
		"csv":         {commaSeparated + "; charset=utf-8", table, "", [][2]int{{2, 3}}, 3},
		"csv gzip":    {commaSeparated, zipped(table), "gzip", [][2]int{{2, 3}}, 3},
		"ndjson zstd": {ndjson, string(z.EncodeAll([]byte(lines), nil)), "zstd", [][2]int{{1, 3}}, 3},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			p := newKitchen(t)
			res, body := p.uploads("b-1", c.mediaType, c.text, "Content-Encoding", c.encoding)
			u := got[UploadBody](p, res, body, 200)
			if !slices.Equal(u.Accepted, c.accepted) || u.AcceptedRows != 2 || u.LastCommittedLine != c.last || len(u.Refused) != 0 {
				t.Errorf("%s", body)
			}
			res, body = p.call("GET", "/v1/readings?instrument=T-1&from=2025-03-03T09:00:00Z&to=2025-03-03T11:00:00Z", "")
			want := `{"items":[{"instrument":"T-1","taken_at":"2025-03-03T09:00:00Z","value":161.50,"unit":"F","lot":"L-1","limit":"cook-core"},` +
				`{"instrument":"T-1","taken_at":"2025-03-03T11:00:00Z","value":4.0,"unit":"C","location":"cooler","taken_by":"op-1"}],"next_cursor":null}`
			if res.StatusCode != 200 || strings.TrimSpace(recordedAt.ReplaceAllString(body, "")) != want {
				t.Errorf("%d %s", res.StatusCode, body)
			}
		})
	}
}

// TestLargeUpload: 200,000 rows with a bad one on line 150,000; sent again, and
// under another key.
func TestLargeUpload(t *testing.T) {
	t.Parallel()
	p := newKitchen(t)
	const n, badLine = 200_000, 150_000
	text := strings.Replace(rows(n), row(badLine-2), strings.Replace(row(badLine-2), ",F,", ",X,", 1), 1)
	var first UploadBody
	for again := range 2 {
		res, body := p.uploads("b-1", commaSeparated, zipped(text), "Content-Encoding", "gzip")
		u := got[UploadBody](p, res, body, 200)
		if !slices.Equal(u.Accepted, [][2]int{{2, badLine - 1}, {badLine + 1, n + 1}}) || u.AcceptedRows != n-1 || u.LastCommittedLine != n+1 {
			t.Errorf("round %d: %.600s", again, body)
		}
		if len(u.Refused) != 1 || u.Refused[0].Line != badLine || u.Refused[0].Field != "unit" || u.Refused[0].Rule != "unknown-unit" {
			t.Errorf("round %d: %+v", again, u.Refused)
		}
		if again == 0 {
			first = u
		} else if fmt.Sprint(first) != fmt.Sprint(u) {
			t.Error("the same batch again is answered otherwise")
		}
	}
	res, body := p.uploads("b-2", commaSeparated, text)
	u := got[UploadBody](p, res, body, 200)
	if u.AcceptedRows != 0 || !slices.Equal(u.Duplicates, first.Accepted) || len(u.Refused) != 1 {
		t.Errorf("under another key: %.600s", body)
	}
	res, body = p.uploads("b-1", commaSeparated, rows(10))
	p.broke(res, body, 409, "batch-chunk-reused")
}

// TestBadRowsAmongGood: the good rows of a chunk commit together and every bad
// one is listed, whoever finds it bad.
func TestBadRowsAmongGood(t *testing.T) {
	t.Parallel()
	p := newKitchen(t)
	text := csvHead +
		"T-1,2025-03-03T10:00:00Z,161.0,F,L-1,cook-core,\n" +
		"T-0,2025-03-03T10:00:00Z,161.0,F,L-1,cook-core,\n" + // no such instrument
		"T-1,2025-03-03T10:00:01,161.0,degF,L-1,cook-core,\n" + // two things wrong
		"T-1,2025-02-03T10:00:00Z,161.0,F,L-1,cook-core,\n" + // before it was in service
		"T-1,2025-03-03T10:00:02Z,161.0,F,L-1,cook-core,\n" +
		"T-1,2025-03-03T10:00:02Z,161.0,F,L-1,cook-core,\n" + // the row before
		"T-1,2025-03-03T10:00:03Z,161.0,F,L-1,no-limit,\n"
	for again := range 2 {
		res, body := p.uploads("b-1", commaSeparated, text)
		u := got[UploadBody](p, res, body, 200)
		var refused []string
		for _, r := range u.Refused {
			refused = append(refused, fmt.Sprintf("%d%s %s", r.Line, r.Field, r.Rule))
		}
		want := []string{"3instrument unknown-instrument", "4taken_at offset-required", "4unit unknown-unit",
			"5taken_at before-in-service", "8limit unknown-limit"}
		if !slices.Equal(u.Accepted, [][2]int{{2, 2}, {6, 6}}) || !slices.Equal(u.Duplicates, [][2]int{{7, 7}}) || !slices.Equal(refused, want) {
			t.Errorf("round %d: %s", again, body)
		}
	}
	if n := p.stored(); n != 2 {
		t.Errorf("%d readings", n)
	}
	source := "instrument,taken_at,value,unit,source_id\n"
	res, body := p.uploads("b-2", commaSeparated, source+"T-1,2025-03-03T12:00:00Z,161.0,F,s-1\n")
	got[UploadBody](p, res, body, 200)
	res, body = p.uploads("b-3", commaSeparated, source+"T-1,2025-03-03T12:00:00Z,162.0,F,s-1\nT-1,2025-03-03T12:00:01Z,162.0,F,s-2\n")
	u := got[UploadBody](p, res, body, 200)
	if u.AcceptedRows != 1 || len(u.Refused) != 1 || u.Refused[0].Rule != "conflict" || u.Refused[0].Line != 2 {
		t.Errorf("%s", body)
	}
}

// TestBrokenUploads: what breaks off says how far it was taken in, and sending it
// again is safe.
func TestBrokenUploads(t *testing.T) {
	t.Parallel()
	p := newKitchen(t)
	whole := rows(120_000)
	z := zipped(whole)
	res, body := p.uploads("b-1", commaSeparated, z[:len(z)-len(z)/20], "Content-Encoding", "gzip")
	b := p.broke(res, body, 422, "truncated")
	if b.LastCommittedLine != 100_001 || b.AcceptedRows != 100_000 {
		t.Errorf("%s", body)
	}
	res, body = p.uploads("b-1", commaSeparated, whole)
	if u := got[UploadBody](p, res, body, 200); u.AcceptedRows != 120_000 || u.LastCommittedLine != 120_001 {
		t.Errorf("%s", body)
	}
	for _, c := range []struct {
		name, mediaType, text, encoding string
		status                          int
		rule                            string
	}{
		{"gzip without its end", commaSeparated, zipped(rows(5))[:20], "gzip", 422, "truncated"},
		{"nothing compressed", commaSeparated, "", "gzip", 422, "truncated"},
		{"no gzip", commaSeparated, rows(1), "gzip", 422, "damaged-file"},
		{"no zstd", commaSeparated, rows(1), "zstd", 422, "damaged-file"},
		{"nothing", commaSeparated, "", "", 422, "empty-file"},
		{"a wrong header", commaSeparated, "instrument,colour,value\n", "", 422, "unknown-column"},
		{"a quote never closed", commaSeparated, csvHead + "\"T-1,2025\n", "", 422, "bad-quoting"},
		{"a line without end", ndjson, strings.Repeat("x", 2<<20), "", 422, "too-long"},
	} {
		t.Log(c.name)
		res, body := p.uploads("bad", c.mediaType, c.text, "Content-Encoding", c.encoding)
		if b := p.broke(res, body, c.status, c.rule); b.AcceptedRows != 0 || b.LastCommittedLine != 0 {
			t.Errorf("%s: %s", c.name, body)
		}
	}
	for _, c := range []struct{ path, mediaType, encoding, rule string }{
		{"/v1/readings?batch=x", "text/xml", "", "media-type"},
		{"/v1/readings?batch=x", "", "", "media-type"},
		{"/v1/readings?batch=x", commaSeparated + "; charset=utf-16", "", "media-type"},
		{"/v1/readings?batch=x", commaSeparated, "br", "content-encoding"},
	} {
		res, body := p.call("POST", c.path, rows(1), "Content-Type", c.mediaType, "Content-Encoding", c.encoding)
		p.refused(res, body, 415, c.rule)
	}
	res, body = p.call("POST", "/v1/readings", rows(1), "Content-Type", commaSeparated)
	p.refused(res, body, 422, "invalid")
	res, body = p.call("GET", "/v1/readings?instrument=T-1&from=2025-03-03", "")
	p.refused(res, body, 422, "offset-required")
	res, body = p.call("GET", "/v1/readings?instrument=T-0", "")
	p.refused(res, body, 404, "unknown-instrument")
}

// TestNothingButWrongRows: a file of wrong rows ends before its answer fills the
// memory.
func TestNothingButWrongRows(t *testing.T) {
	t.Parallel()
	p := newKitchen(t)
	res, body := p.uploads("b-1", commaSeparated, strings.ReplaceAll(rows(30_000), ",F,", ",X,"))
	b := p.broke(res, body, 422, "too-many-refused")
	if len(b.Refused) != mostRefused+1 || p.stored() != 0 {
		t.Errorf("%d refused", len(b.Refused))
	}
}

// limited serves the plant's engine with other limits.
func (p *plant) limited(o Options) *plant {
	p.t.Helper()
	srv := httptest.NewServer(New(p.svc, o))
	p.t.Cleanup(srv.Close)
	q := *p
	q.url = srv.URL
	return &q
}

// TestDecompressionBomb: what is small on the wire and large in memory ends at
// the cap, and never is large in memory.
func TestDecompressionBomb(t *testing.T) {
	t.Parallel()
	p := newKitchen(t).limited(Options{MaxUpload: 1 << 20})
	bomb := zipped(csvHead + strings.Repeat("T-1,2025-03-03T10:00:00Z,161.0,F,,,\n", 1<<20))
	res, body := p.uploads("b-1", commaSeparated, bomb, "Content-Encoding", "gzip")
	if b := p.broke(res, body, 413, "too-large"); b.AcceptedRows != 0 {
		t.Errorf("%s", body)
	}
	at := rows(100)
	p = p.limited(Options{MaxUpload: int64(len(at))})
	res, body = p.uploads("b-2", commaSeparated, at)
	if u := got[UploadBody](p, res, body, 200); u.AcceptedRows != 100 { // exactly the cap is not over it
		t.Errorf("%s", body)
	}
	res, body = p.uploads("b-3", commaSeparated, at+"\n")
	p.broke(res, body, 413, "too-large")
}

// TestSlowClient: one that sends a little now and then is served; one that falls
// silent, or leaves, is not, and nothing of its chunk is written.
func TestSlowClient(t *testing.T) {
	t.Parallel()
	p := newKitchen(t).limited(Options{StallTime: 300 * time.Millisecond})
	conn, err := net.Dial("tcp", strings.TrimPrefix(p.url, "http://"))
	p.must(err)
	defer conn.Close()
	fmt.Fprintf(conn, "POST /v1/readings?batch=b-1 HTTP/1.1\r\nHost: x\r\nAuthorization: Bearer %s\r\nContent-Type: text/csv\r\nContent-Length: 100000\r\n\r\n%s", p.key, rows(3))
	res, err := http.ReadResponse(bufio.NewReader(conn), nil)
	p.must(err)
	body, err := io.ReadAll(res.Body)
	p.must(err)
	p.broke(res, string(body), 408, "too-slow")
	if n := p.stored(); n != 0 {
		t.Errorf("%d readings of half a chunk", n)
	}

	half, err := net.Dial("tcp", strings.TrimPrefix(p.url, "http://"))
	p.must(err)
	fmt.Fprintf(half, "POST /v1/readings?batch=b-2 HTTP/1.1\r\nHost: x\r\nAuthorization: Bearer %s\r\nContent-Type: text/csv\r\nContent-Length: 100000\r\n\r\n%s", p.key, rows(3))
	p.must(half.(*net.TCPConn).CloseWrite())
	if res, err = http.ReadResponse(bufio.NewReader(half), nil); err == nil { // the server may close without a word
		body, err = io.ReadAll(res.Body)
		p.must(err)
		if res.StatusCode < 400 || res.StatusCode >= 500 && res.StatusCode != 503 {
			t.Errorf("%d %s", res.StatusCode, body)
		}
	}
	half.Close()
	if n := p.stored(); n != 0 {
		t.Errorf("%d readings of half a body", n)
	}
}

// TestConcurrentResend: the same batch sent by several at once is taken in once,
// and each is told the same.
func TestConcurrentResend(t *testing.T) {
	t.Parallel()
	p := newKitchen(t)
	text := rows(3000)
	var all sync.WaitGroup
	answers := make([]UploadBody, 4)
	for i := range answers {
		all.Go(func() {
			res, body := p.uploads("b-1", commaSeparated, text)
			if res.StatusCode == 200 {
				_ = json.Unmarshal([]byte(body), &answers[i]) // an answer that is none differs below
			}
		})
	}
	all.Wait()
	for _, a := range answers {
		if a.AcceptedRows != 3000 || a.LastCommittedLine != 3001 {
			t.Errorf("%+v", a)
		}
	}
	if n := p.stored(); n != 3000 {
		t.Errorf("%d readings", n)
	}
}

// TestLateReadingMakesTraceDue: a reading that arrives late inside a deviation's
// window makes it due for a new trace run; the same again does not.
func TestLateReadingMakesTraceDue(t *testing.T) {
	t.Parallel()
	p := newCase(t)
	due := func() bool {
		res, body := p.call("GET", "/v1/deviations", "")
		return got[Page[DeviationHead]](p, res, body, 200).Items[0].RetraceDue != nil
	}
	if due() {
		t.Fatal("due before anything came")
	}
	late := csvHead + "T-1,2025-03-03T12:00:00Z,163.0,F,L-2,cook-core,\n"
	res, body := p.uploads("late", commaSeparated, late)
	got[UploadBody](p, res, body, 200)
	if !due() {
		t.Error("a late reading in the window did not make the deviation due")
	}
	_, err := p.svc.Trace(context.Background(), p.scope, 1)
	p.must(err)
	res, body = p.uploads("late", commaSeparated, late)
	got[UploadBody](p, res, body, 200)
	res, body = p.uploads("again", commaSeparated, late)
	if u := got[UploadBody](p, res, body, 200); u.AcceptedRows != 0 || due() {
		t.Errorf("the same reading again made it due: %s", body)
	}
}
