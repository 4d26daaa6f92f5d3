package api

import (
	"fmt"
	"io"
	"net/http"
	"strings"
	"testing"
	"time"

	"github.com/klauspost/compress/zstd"
	"pgregory.net/rapid"

	"lastgood/policy/disposition"
)

// TestEveryAnswerIsNoPage: whatever is asked and by whomever, no browser takes an
// answer for a page, nobody on the way keeps one, and none says what serves it.
func TestEveryAnswerIsNoPage(t *testing.T) {
	t.Parallel()
	p := newPlant(t)
	check := func(method, path, body string, headers ...string) {
		t.Helper()
		res, _ := p.call(method, path, body, headers...)
		h := res.Header
		if h.Get("X-Content-Type-Options") != "nosniff" || h.Get("Referrer-Policy") != "no-referrer" || h.Get("Content-Security-Policy") != nothingLoads {
			t.Errorf("%s %s: %v", method, path, h)
		}
		if strings.HasPrefix(path, "/v1/") && h.Get("Cache-Control") != "no-store" {
			t.Errorf("%s %s may be kept: %v", method, path, h)
		}
		if h.Get("Server") != "" || h.Get("X-Powered-By") != "" {
			t.Errorf("%s %s says what serves it: %v", method, path, h)
		}
	}
	for _, op := range operations(contract()) {
		path, body, headers := op.example()
		check(op.Method, path, body, headers...)
		check(op.Method, path, body, append(headers, "Authorization", "")...)
	}
	check("GET", "/healthz", "")
	check("GET", "/openapi.json", "")
	check("GET", "/v1/nothing", "")
	check("DELETE", "/v1/policy", "")
	check("GET", "/v1/deviations/%07", "")
}

func TestAddressThatIsTooLong(t *testing.T) {
	t.Parallel()
	p := newPlant(t)
	head := "/v1/trail?stream="
	for n, want := range map[int]int{maxAddress: 422, maxAddress + 1: 414} { // 422: a stream's name is shorter
		res, body := p.call("GET", head+strings.Repeat("x", n-len(head)), "")
		p.refused(res, body, want, map[int]string{422: "invalid", 414: "address-too-long"}[want])
	}
}

// TestWhoAsksTooOften: a caller waits alone, is told how long, and the ship gate and
// uploads never wait.
func TestWhoAsksTooOften(t *testing.T) {
	t.Parallel()
	p := newKitchen(t).limited(Options{Requests: Rate{PerSecond: 0.001, Burst: 3}})
	for range 3 {
		p.answers("GET", "/v1/limits", "", 200)
	}
	res, body := p.call("GET", "/v1/limits", "")
	p.refused(res, body, 429, "too-many-requests")
	if n := res.Header.Get("Retry-After"); len(n) < 3 || n > "1000" {
		t.Errorf("Retry-After %q, of at most 1000 s", n)
	}
	p.answers("GET", "/v1/ship-gate/L-1", "", 200)
	res, body = p.uploads("b-1", commaSeparated, rows(2))
	got[UploadBody](p, res, body, 200)
	other := p.enters("qa-1", p.joins("qa-1", disposition.QALead))
	other.answers("GET", "/v1/limits", "", 200)
	res, body = p.call("GET", "/v1/limits", "", "Authorization", "Bearer lg_x") // no secret of ours: nothing is remembered
	p.refused(res, body, 401, "unknown-key")
}

// TestWhoTriesManyPeople: the lock of each person bounds nobody who tries many.
func TestWhoTriesManyPeople(t *testing.T) {
	t.Parallel()
	p := newPlant(t).limited(Options{SignIns: Rate{PerSecond: 0.001, Burst: 4}})
	for i := range 4 {
		res, body := p.call("POST", "/v1/sessions", signInBody(fmt.Sprint("qa-", i), phrase), "Authorization", "")
		p.refused(res, body, 401, "sign-in-refused")
	}
	for _, path := range []string{"/v1/sessions", "/v1/passwords"} {
		res, body := p.call("POST", path, signInBody("qa-5", phrase), "Authorization", "")
		p.refused(res, body, 429, "too-many-requests")
	}
	p.answers("GET", "/v1/limits", "", 200)
}

func TestNetwork(t *testing.T) {
	t.Parallel()
	for remote, want := range map[string]string{"192.0.2.7:1": "192.0.2.7", "[::ffff:192.0.2.7]:1": "192.0.2.7",
		"[2001:db8:1:2:3:4:5:6]:1": "2001:db8:1:2::/64", "[fe80::1%eth0]:1": "fe80::/64", "": ""} { // RFC 5737 and 3849: for documents
		if got := network(remote); got != want {
			t.Errorf("%s is %s, want %s", remote, got, want)
		}
	}
}

// TestNobodyGetsMoreThanTheRate: in no stretch of time does anybody ask more often
// than at once and in the long run together, and who waits as long as they are told
// is let in.
func TestNobodyGetsMoreThanTheRate(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		rate := Rate{PerSecond: rapid.Float64Range(0.1, 100).Draw(t, "rate"), Burst: float64(rapid.IntRange(1, 20).Draw(t, "burst"))}
		began := time.Date(2025, 3, 4, 12, 0, 0, 0, time.UTC)
		now := began
		l := newLimiter(rate, func() time.Time { return now })
		in := 0.0
		for _, step := range rapid.SliceOfN(rapid.IntRange(0, 1000), 1, 200).Draw(t, "milliseconds") {
			now = now.Add(time.Duration(step) * time.Millisecond)
			if wait := l.take("a"); wait > 0 {
				now = now.Add(wait + time.Microsecond)
				if l.take("a") != 0 {
					t.Fatalf("after waiting for %s they wait again", wait)
				}
			}
			in++
			if most := rate.Burst + rate.PerSecond*now.Sub(began).Seconds() + 1e-6; in > most {
				t.Fatalf("%g let in, of at most %g", in, most)
			}
		}
	})
}

// TestLimiterForgets: whoever comes, no more than two generations are remembered,
// and who keeps asking is among them.
func TestLimiterForgets(t *testing.T) {
	t.Parallel()
	now := time.Date(2025, 3, 4, 12, 0, 0, 0, time.UTC)
	l := newLimiter(Rate{PerSecond: 0.001, Burst: 1}, func() time.Time { return now })
	if l.take("busy") != 0 {
		t.Fatal("the first one waits")
	}
	for i := range 5 * mostCallers {
		l.take(fmt.Sprint(i))
		if i%1000 == 0 && l.take("busy") == 0 {
			t.Fatalf("after %d others they begin anew", i)
		}
	}
	if n := len(l.young) + len(l.old); n > 2*mostCallers {
		t.Errorf("%d are remembered", n)
	}
}

// TestDecompressionBombOfZstd: as of gzip; and a window that would itself fill the
// memory is refused before there is one.
func TestDecompressionBombOfZstd(t *testing.T) {
	t.Parallel()
	p := newKitchen(t).limited(Options{MaxUpload: 1 << 20})
	z, err := zstd.NewWriter(nil)
	p.must(err)
	bomb := z.EncodeAll([]byte(csvHead+strings.Repeat("T-1,2025-03-03T10:00:00Z,161.0,F,,,\n", 1<<20)), nil)
	if len(bomb) > 1<<14 {
		t.Fatalf("%d bytes: this is no bomb", len(bomb))
	}
	res, body := p.uploads("b-1", commaSeparated, string(bomb), "Content-Encoding", "zstd")
	if b := p.broke(res, body, 413, "too-large"); b.AcceptedRows != 0 {
		t.Errorf("%s", body)
	}
	window := "\x28\xb5\x2f\xfd\x00\xa0\x01\x00\x00" // a frame with a window of 1 GiB and an empty last block (RFC 8878, 3.1.1)
	res, body = p.uploads("b-2", commaSeparated, window, "Content-Encoding", "zstd")
	p.broke(res, body, 422, "damaged-file")
	text, done, err := decompressed("zstd", strings.NewReader(window))
	p.must(err)
	defer done()
	if _, err := io.ReadAll(text); err == nil {
		t.Error("a window of 1 GiB is opened")
	}
}

// TestDepthIsBounded: JSON nests as deep as the decoder lets it (10,000), in a body
// and in a line of an upload, and a policy as deep as its own decoder does; what is
// deeper is the caller's fault and is found without following it down.
func TestDepthIsBounded(t *testing.T) {
	t.Parallel()
	p := newKitchen(t)
	nested := func(n int) string { return strings.Repeat(`{"a":`, n) + `1` + strings.Repeat(`}`, n) }
	res, body := p.call("POST", "/v1/holds/1/acknowledgement", nested(10_001), "If-Match", `"v1"`)
	p.refused(res, body, 400, "bad-request")
	if !strings.Contains(body, "not JSON") {
		t.Errorf("%s", body)
	}
	res, body = p.call("POST", "/v1/holds/1/acknowledgement", nested(9_999), "If-Match", `"v1"`)
	p.refused(res, body, 422, "invalid")
	res, body = p.call("POST", "/v1/lots", `{"items":[`+nested(100_000)+`]}`)
	p.refused(res, body, 400, "bad-json")
	res, body = p.uploads("b-1", ndjson, nested(100_000)+"\n")
	if res.StatusCode >= 500 || strings.Contains(body, `"accepted_rows":1`) {
		t.Errorf("%d %s", res.StatusCode, body)
	}
	res, body = p.call("PUT", "/v1/policy", strings.Repeat("[", 100_000), "Content-Type", "application/yaml", "If-Match", `"v1"`)
	if res.StatusCode != http.StatusUnprocessableEntity {
		t.Errorf("%d %s", res.StatusCode, body)
	}
	laughs := "a: &a [x,x,x,x,x,x,x,x,x,x]\n"
	for _, c := range "bcdefghi" {
		laughs += fmt.Sprintf("%c: &%c [%s]\n", c, c, strings.TrimSuffix(strings.Repeat(fmt.Sprintf("*%c,", c-1), 10), ","))
	}
	res, body = p.call("PUT", "/v1/policy", laughs, "Content-Type", "application/yaml", "If-Match", `"v1"`)
	if res.StatusCode != http.StatusUnprocessableEntity {
		t.Errorf("%d %s", res.StatusCode, body)
	}
}
