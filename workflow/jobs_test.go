package workflow

import (
	"context"
	"encoding/base64"
	"fmt"
	"io"
	"net/http"
	"net/http/httptest"
	"net/netip"
	"strconv"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"lastgood/policy/limit"
	"lastgood/policy/unit"
	"lastgood/workflow/instrument"
	"lastgood/workflow/pg"
	"lastgood/workflow/pg/pgtest"
	"lastgood/workflow/trail"
)

// jobSite is a plant whose clock a test moves, on which servers may run.
type jobSite struct {
	*site
	t   *testing.T
	dsn pgtest.DBs
	now *atomic.Int64
}

func newJobSite(t *testing.T) *jobSite {
	t.Helper()
	j := &jobSite{t: t, dsn: pgtest.DB(t), now: new(atomic.Int64)}
	j.setClock(march(28, 12, 0))
	j.site = siteOn(t, j.service())
	return j
}

func (j *jobSite) setClock(at time.Time) { j.now.Store(at.UnixMicro()) }

// service is an engine of its own on the same database, as another server has.
func (j *jobSite) service() *Service {
	j.t.Helper()
	db, err := pg.Open(j.t.Context(), j.dsn.App, func() time.Time { return time.UnixMicro(j.now.Load()) })
	if err != nil {
		j.t.Fatal(err)
	}
	j.t.Cleanup(func() { db.Close() })
	s, err := New(db)
	if err != nil {
		j.t.Fatal(err)
	}
	return s
}

// servers starts runners of jobs, each on an engine of its own, until the test ends.
func (j *jobSite) servers(n int) {
	j.t.Helper()
	for range n {
		r, err := j.service().StartJobs(j.t.Context(), JobOptions{AllowPrivateWebhooks: true})
		if err != nil {
			j.t.Fatal(err)
		}
		j.t.Cleanup(func() {
			if err := r.Stop(context.Background()); err != nil {
				j.t.Error(err)
			}
		})
	}
}

// until waits until a query answers with a number.
func (j *jobSite) until(want int, q string, args ...any) {
	j.t.Helper()
	got := 0
	for end := time.Now().Add(2 * time.Minute); time.Now().Before(end); time.Sleep(20 * time.Millisecond) {
		if got = j.count(q, args...); got == want {
			return
		}
	}
	j.t.Fatalf("%d instead of %d: %s", got, want, q)
}

const idle = `select count(*) from river_job where state in ('available', 'pending', 'retryable', 'running', 'scheduled')`

// Two servers trace two hundred deviations that are due, each once.
func TestTwoServersTraceEachDeviationOnce(t *testing.T) {
	t.Parallel()
	j := newJobSite(t)
	const n = 200
	var list []instrument.Instrument
	var bad []instrument.Check
	for i := range n {
		code := fmt.Sprintf("P-%03d", i)
		list = append(list, instrument.Instrument{Code: code, Unit: unit.CelsiusScale, Tolerance: unit.PerDegree})
		bad = append(bad, checkOf(code, march(5, 0, 0), 3))
	}
	j.added(j.AddInstruments(j.ctx, j.sc, list))
	if opened := j.record(bad...); len(opened) != n {
		t.Fatalf("%d deviations", len(opened))
	}
	j.servers(2)
	j.until(0, `select count(*) from deviation where retrace_due is not null`)
	j.until(0, idle)
	if runs := j.count(`select count(*) from trace_run`); runs != n {
		t.Errorf("%d runs of %d deviations", runs, n)
	}
	if each := j.count(`select count(distinct deviation_id) from trace_run`); each != n {
		t.Errorf("%d deviations have a run", each)
	}
}

// Two servers escalate two hundred holds that nobody acknowledged, each once, and
// again half an hour later; what was acknowledged meanwhile is left alone.
func TestTwoServersEscalateEachHoldOnce(t *testing.T) {
	t.Parallel()
	j := newJobSite(t)
	const n = 200
	var codes []string
	for i := range n {
		codes = append(codes, fmt.Sprintf("L-%03d", i))
	}
	j.makes(codes...)
	for i, c := range codes {
		j.reads(cooked("T-1", march(3, 0, i%60), 72, c))
	}
	d := j.fails("T-1", march(5, 6, 0))
	j.trace(d)
	j.must(j.acknowledge(d, codes[0], "100"))
	j.must(j.acknowledge(d, codes[1], "99")) // short: not contained
	placed := march(28, 12, 0)
	j.setClock(placed.Add(15*time.Minute - time.Microsecond))
	due, err := j.escalationsDue(j.ctx, j.sc.Plant)
	if j.must(err); len(due) != 0 {
		t.Fatalf("%d escalations before the time", len(due))
	}
	j.setClock(placed.Add(15 * time.Minute))
	j.servers(2)
	j.until(n-1, `select count(*) from escalation where step = 1`)
	j.must(j.acknowledge(d, codes[2], "100"))
	j.setClock(placed.Add(45 * time.Minute))
	j.until(n-2, `select count(*) from escalation where step = 2`)
	j.until(0, idle)
	if told := j.count(`select count(*) from escalation`); told != 2*n-3 {
		t.Errorf("%d escalations", told)
	}
	if told := j.count(`select count(*) from outbox_event where type = 'lastgood.hold.escalated.v1'`); told != 2*n-3 {
		t.Errorf("%d events of escalations", told)
	}
	open, err := j.Escalations(j.ctx, j.sc, 1<<62, 1000)
	j.must(err)
	if len(open) != 2*(n-2) || open[0].Step != 2 || open[0].ID < open[1].ID {
		t.Errorf("%d escalations are open, the newest %+v", len(open), open[0])
	}
	if diff := cmp.Diff([]string{"qa_lead", "plant_manager"}, []string(open[0].Roles)); diff != "" {
		t.Error(diff)
	}
	if !strings.Contains(j.textOf(open, codes[1]), "less of lot") {
		t.Error("the short count is not told as one")
	}
}

func (j *jobSite) textOf(list []Escalation, code string) string {
	for _, e := range list {
		if e.Lot == code {
			return e.Text
		}
	}
	return ""
}

// overdueSite has a probe that is to be checked daily, was checked on the 20th,
// and cooked A on the 20th, B on the 22nd, when a check on the 21st was due.
func overdueSite(t *testing.T) *jobSite {
	t.Helper()
	j := newJobSite(t)
	daily := 1
	j.added(j.AddInstruments(j.ctx, j.sc, []instrument.Instrument{{Code: "D-1", Unit: unit.CelsiusScale, Tolerance: unit.PerDegree, CheckEveryDays: &daily}}))
	j.check("D-1", march(20, 6, 0), 0)
	j.makes("A", "B")
	j.reads(cooked("D-1", march(20, 8, 0), 75, "A"))
	j.setClock(march(22, 0, 0))
	j.must(j.openOverdue(j.ctx, j.sc.Plant))
	if n := j.count(`select count(*) from overdue_check`); n != 0 {
		t.Fatalf("%d overdue though it was not read since", n)
	}
	j.setClock(march(22, 9, 0))
	j.reads(cooked("D-1", march(22, 8, 0), 75, "B"))
	return j
}

func (j *jobSite) deviation() Deviation {
	j.t.Helper()
	list, err := j.Deviations(j.ctx, j.sc)
	j.must(err)
	if len(list) != 1 {
		j.t.Fatalf("%d deviations", len(list))
	}
	return list[0]
}

func verdicts(r Run) map[string]limit.Verdict {
	out := map[string]limit.Verdict{}
	for _, a := range r.Assessments {
		out[a.Lot] = a.Result.Verdict
	}
	return out
}

// Two servers find the overdue check: one deviation, which holds what was read
// since the last good check, of which nothing is known.
func TestAnOverdueCheckOpensADeviationOnce(t *testing.T) {
	t.Parallel()
	j := overdueSite(t)
	j.servers(2)
	j.until(1, `select count(*) from trace_run`)
	j.until(0, idle)
	d := j.deviation()
	if !d.FailedAt.Equal(march(22, 0, 0)) || d.OverdueID == nil {
		t.Errorf("%+v", d)
	}
	if n := j.count(`select count(*) from hold where lifted_at is null`); n != 2 {
		t.Errorf("%d holds", n)
	}
	for range 2 {
		j.must(j.openOverdue(j.ctx, j.sc.Plant))
	}
	if n := j.count(`select count(*) from deviation`); n != 1 {
		t.Errorf("%d deviations", n)
	}
	run := j.trace(d)
	if run.OpenedBy != "its check was overdue since 2025-03-22 00:00 UTC" || !run.After.Equal(march(20, 6, 0)) || run.Until != nil {
		t.Errorf("%s, from %v to %v", run.OpenedBy, run.After, run.Until)
	}
	if diff := cmp.Diff(map[string]limit.Verdict{"A": limit.Unknown, "B": limit.Unknown}, verdicts(run)); diff != "" {
		t.Error(diff)
	}
}

// The check that was overdue bounds the error by both ends: it clears nothing, and
// product with margin enough met its limit.
func TestTheLateCheckSettlesTheWindow(t *testing.T) {
	t.Parallel()
	for found, want := range map[float64]limit.Verdict{0: limit.Met, 0.5: limit.Met, 9: limit.Indeterminate} {
		t.Run(fmt.Sprint(found), func(t *testing.T) {
			t.Parallel()
			j := overdueSite(t)
			j.must(j.openOverdue(j.ctx, j.sc.Plant))
			j.setClock(march(23, 9, 0))
			if opened := j.check("D-1", march(23, 7, 0), found); len(opened) != 0 {
				t.Fatalf("%d more deviations", len(opened))
			}
			run := j.trace(j.deviation())
			if diff := cmp.Diff(map[string]limit.Verdict{"A": want, "B": want}, verdicts(run)); diff != "" {
				t.Error(diff)
			}
			if settled := run.Until != nil && run.Until.Equal(march(23, 7, 0)); settled != (found < 1) {
				t.Errorf("the window ends at %v", run.Until)
			}
		})
	}
}

// A check that was made in time and becomes known late makes it moot.
func TestACheckMadeInTimeMakesItMoot(t *testing.T) {
	t.Parallel()
	j := overdueSite(t)
	j.must(j.openOverdue(j.ctx, j.sc.Plant))
	j.check("D-1", march(21, 7, 0), 0)
	run := j.trace(j.deviation())
	if len(run.Assessments) != 0 {
		t.Errorf("still in doubt: %v", verdicts(run))
	}
	j.setClock(march(22, 11, 0))
	j.check("D-1", march(22, 10, 0), 0)
	j.must(j.openOverdue(j.ctx, j.sc.Plant))
	j.deviation() // no second one
}

// receiver takes webhooks and answers with the statuses that it is told, the last
// one for ever.
type receiver struct {
	*httptest.Server
	mu       sync.Mutex
	requests []*http.Request
	bodies   []string
}

func newReceiver(t *testing.T, statuses ...int) *receiver {
	r := &receiver{}
	r.Server = httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, req *http.Request) {
		body, _ := io.ReadAll(req.Body)
		r.mu.Lock()
		defer r.mu.Unlock()
		n := len(r.requests)
		r.requests, r.bodies = append(r.requests, req), append(r.bodies, string(body))
		w.WriteHeader(statuses[min(n, len(statuses)-1)])
	}))
	t.Cleanup(r.Close)
	return r
}

// A message that is refused comes again with the same id, signed anew, and is
// sent no more once it arrived. What the receiver missed it finds by position.
func TestEventsAreDelivered(t *testing.T) {
	t.Parallel()
	j := newJobSite(t)
	r := newReceiver(t, 500, 200)
	w, err := j.AddWebhook(j.ctx, j.sc, r.URL, []string{"lastgood.deviation.opened.v1"})
	j.must(err)
	j.fails("T-1", march(5, 6, 0))
	j.servers(2)
	j.until(1, `select count(*) from webhook_delivery`)
	j.until(0, idle)
	r.mu.Lock()
	defer r.mu.Unlock()
	if len(r.requests) != 2 || r.bodies[0] != r.bodies[1] {
		t.Fatalf("%d requests: %q", len(r.requests), r.bodies)
	}
	for i, req := range r.requests {
		h := req.Header
		sent, err := strconv.ParseInt(h.Get("webhook-timestamp"), 10, 64)
		j.must(err)
		if want := SignWebhook(w.Secret, h.Get("webhook-id"), time.Unix(sent, 0), []byte(r.bodies[i])); h.Get("webhook-signature") != want {
			t.Errorf("signed %s, not %s", h.Get("webhook-signature"), want)
		}
		if h.Get("webhook-id") != r.requests[0].Header.Get("webhook-id") || h.Get("content-type") != "application/cloudevents+json" {
			t.Errorf("%v", h)
		}
	}
	all, err := j.PublishedEvents(j.ctx, j.sc, 0, 100)
	j.must(err)
	rest, err := j.PublishedEvents(j.ctx, j.sc, all[0].Position, 100)
	j.must(err)
	if len(rest) != len(all)-1 || string(all[len(all)-1].Body) == "" {
		t.Errorf("%d events, and %d after the first", len(all), len(rest))
	}
}

// 410 Gone ends the webhook.
func TestWhoIsGoneIsToldNothingMore(t *testing.T) {
	t.Parallel()
	j := newJobSite(t)
	r := newReceiver(t, 410)
	_, err := j.AddWebhook(j.ctx, j.sc, r.URL, nil)
	j.must(err)
	j.servers(1)
	j.fails("T-1", march(5, 6, 0))
	j.until(1, `select count(*) from webhook where disabled_at is not null and last_failure like '%410%'`)
	j.until(0, idle)
	r.mu.Lock()
	before := len(r.requests)
	r.mu.Unlock()
	j.fails("T-2", march(6, 6, 0))
	j.until(0, `select count(*) from outbox_pending`)
	j.until(0, idle)
	r.mu.Lock()
	defer r.mu.Unlock()
	if len(r.requests) != before {
		t.Errorf("%d more requests", len(r.requests)-before)
	}
}

// The vector that several of the test suites of Standard Webhooks have (design
// notes on standards, §8).
func TestSignature(t *testing.T) {
	t.Parallel()
	secret, err := base64.StdEncoding.DecodeString("MfKQ9r8GKYqrTwjUPD8ILPZIo2LaLaSw")
	if err != nil {
		t.Fatal(err)
	}
	const id, body = "msg_p5jXN8AQM9LWM0D4loKWxJek", `{"test": 2432232314}`
	at := time.Unix(1614265330, 0)
	const want = "v1,g0hM9SsE+OTPJTGt/tmIKtSyZlE3uFJELVlNIOLJ1OE="
	if got := SignWebhook(secret, id, at, []byte(body)); got != want {
		t.Errorf("%s", got)
	}
	for _, other := range []string{SignWebhook(secret, id, at, []byte(body+" ")), SignWebhook(secret, id+"x", at, []byte(body)),
		SignWebhook(secret, id, at.Add(time.Second), []byte(body)), SignWebhook(secret[1:], id, at, []byte(body))} {
		if other == want {
			t.Error("something else has the same signature")
		}
	}
}

// Addresses inside are not called, by whatever name (IANA special-purpose address
// registries).
func TestPublicAddresses(t *testing.T) {
	t.Parallel()
	for a, want := range map[string]bool{"127.0.0.1": false, "::1": false, "10.1.2.3": false, "172.16.0.1": false, "192.168.1.1": false,
		"169.254.169.254": false, "fe80::1": false, "fc00::1": false, "::ffff:127.0.0.1": false, "0.0.0.0": false, "100.64.0.1": false,
		"224.0.0.1": false, "255.255.255.255": false, "64:ff9b::7f00:1": false, "2002:7f00:1::": false, "::": false,
		"1.1.1.1": true, "172.32.0.1": true, "2606:4700::1": true} {
		if got := public(netip.MustParseAddr(a)); got != want {
			t.Errorf("%s: public is %v", a, got)
		}
	}
	r := newReceiver(t, 200)
	if status, why := send(t.Context(), newSender(false), message{URL: r.URL, Body: []byte("{}")}, "msg_1"); status != 0 || why != errNotPublic {
		t.Errorf("%d, %v", status, why)
	}
	if len(r.requests) != 0 {
		t.Error("it was called all the same")
	}
}

// toldOf writes an entry of the trail of which plant systems are told.
func toldOf(ctx context.Context, tx *pg.Tx, d Deviation) error {
	return trail.Append(ctx, tx, trail.Entry{Stream: d.stream(), Action: "deviation.opened", Subject: "T-1"})
}

// Positions follow the commits: what commits late comes after, though its number
// is smaller.
func TestWhoReadOnMissesNoEvent(t *testing.T) {
	t.Parallel()
	j := newJobSite(t)
	placed, goOn := make(chan struct{}), make(chan struct{})
	var wg sync.WaitGroup
	wg.Go(func() {
		err := j.db.InTx(j.ctx, j.sc, func(tx *pg.Tx) error {
			d := Deviation{ID: 77}
			if err := toldOf(j.ctx, tx, d); err != nil {
				return err
			}
			close(placed)
			<-goOn
			return nil
		})
		if err != nil {
			t.Error(err)
		}
	})
	<-placed
	j.must(j.db.InTx(j.ctx, j.sc, func(tx *pg.Tx) error { return toldOf(j.ctx, tx, Deviation{ID: 78}) }))
	j.must(j.relay(j.ctx, j.sc.Plant))
	first, err := j.PublishedEvents(j.ctx, j.sc, 0, 10)
	j.must(err)
	close(goOn)
	wg.Wait()
	j.must(j.relay(j.ctx, j.sc.Plant))
	then, err := j.PublishedEvents(j.ctx, j.sc, first[0].Position, 10)
	j.must(err)
	if len(first) != 1 || len(then) != 1 || !strings.Contains(string(first[0].Body), "deviation/78") || !strings.Contains(string(then[0].Body), "deviation/77") {
		t.Errorf("first %v, then %v", first, then)
	}
}
