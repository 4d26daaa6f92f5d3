package api

import (
	"context"
	"fmt"
	"net/http/httptest"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/go-json-experiment/json"
	"github.com/google/go-cmp/cmp"

	"lastgood/policy/disposition"
	"lastgood/policy/unit"
	"lastgood/workflow"
	"lastgood/workflow/actor"
	"lastgood/workflow/instrument"
	"lastgood/workflow/key"
	"lastgood/workflow/lot"
	"lastgood/workflow/pg"
	"lastgood/workflow/pg/pgtest"
)

// chicago is a plant there, whose clock the test sets.
type chicago struct {
	*plant
	mu  sync.Mutex
	now time.Time
}

func (c *chicago) set(text string) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.now = when(c.t, text)
}

func when(t *testing.T, text string) time.Time {
	t.Helper()
	at, err := time.Parse(time.RFC3339, text)
	if err != nil {
		t.Fatal(err)
	}
	return at
}

// inChicago is a plant with one deviation, traced: the thermometer passed five days
// before it failed at a time, and read 160.0 F for lot L-1 in between, of which 40 kg
// left with shipment S-1.
func inChicago(t *testing.T, failed, settings string) *chicago {
	t.Helper()
	ctx := context.Background()
	c := &chicago{now: when(t, failed)}
	dbs := pgtest.DB(t)
	db, err := pg.Open(ctx, dbs.App, func() time.Time {
		c.mu.Lock()
		defer c.mu.Unlock()
		return c.now
	})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { db.Close() })
	svc, err := workflow.New(db)
	if err != nil {
		t.Fatal(err)
	}
	id, err := svc.Plant(ctx, "Tallow Mere Kitchens", "America/Chicago", nil)
	if err != nil {
		t.Fatal(err)
	}
	c.plant = &plant{t: t, svc: svc, dbs: dbs, scope: pg.Scope{Plant: id, By: actor.Actor{ID: "tester", Kind: actor.Person}}}
	_, err = svc.PutPolicy(ctx, c.scope, []byte("limits: [{limit: cook-core, kind: at_least, temperature: 160 F}]\n"+settings))
	c.must(err)
	c.key = c.newKey("all", key.Scopes, c.now.Add(1000*time.Hour))
	srv := httptest.NewServer(New(svc, Options{}))
	t.Cleanup(srv.Close)
	c.url = srv.URL
	since := c.now.Add(-240 * time.Hour)
	_, err = svc.AddInstruments(ctx, c.scope, []instrument.Instrument{{Code: "T-1", Kind: "thermocouple", Unit: unit.FahrenheitScale, Tolerance: unit.PerDegree, InServiceFrom: &since}})
	c.must(err)
	kg := func(s string) *unit.Quantity { return &unit.Quantity{Amount: s, Unit: "kg"} }
	_, err = svc.AddLots(ctx, c.scope, []lot.Lot{{Code: "L-1", Quantity: kg("100")}})
	c.must(err)
	c.checked(c.now.Add(-120*time.Hour), 0)
	c.reads("L-1", c.now.Add(-48*time.Hour), 160)
	_, err = svc.AddShipments(ctx, c.scope, []lot.Shipment{{Shipment: "S-1", Lot: "L-1", Quantity: kg("40"), ShippedAt: c.now.Add(-24 * time.Hour), Consignee: "=North Quay Deli"}})
	c.must(err)
	c.checked(c.now, 2)
	_, err = svc.Trace(ctx, c.scope, 1)
	c.must(err)
	return c
}

// signed lets people sign a record in their order.
func (p *plant) signed(head string, who map[string]*plant) {
	p.t.Helper()
	var r RecordHead
	if err := json.Unmarshal([]byte(head), &r); err != nil {
		p.t.Fatal(err, head)
	}
	for _, seat := range r.Seats {
		who[seat.Role].answers("POST", "/v1/signatures", fmt.Sprintf(`{"role":%q,"records":[{"kind":%q,"id":%d,"sha256":%q}]}`, seat.Role, r.Kind, r.ID, r.SHA256), 201)
	}
}

func (p *plant) people(roles ...disposition.Role) map[string]*plant {
	out := map[string]*plant{}
	for _, r := range roles {
		out[string(r)] = p.enters(string(r), p.joins(string(r), r))
	}
	return out
}

func (p *plant) clocks(path string) []ClockBody {
	p.t.Helper()
	var b Page[ClockBody]
	if err := json.Unmarshal([]byte(p.answers("GET", path, "", 200)), &b); err != nil {
		p.t.Fatal(err)
	}
	return b.Items
}

// The first worked example of the design notes on the procedure, §11: determined on
// the eve of the change of clocks, due 24 elapsed hours later.
func TestClockOverTheChangeOfClocks(t *testing.T) {
	t.Parallel()
	c := inChicago(t, "2026-10-31T09:00:00-05:00", "authorities: [fsis, eu]\n")
	c.set("2026-10-31T15:00:00-05:00")
	who := c.people(disposition.QALead, disposition.PlantManager, disposition.RegulatoryLiaison)
	liaison := who["regulatory_liaison"]
	path := "/v1/deviations/1/notifications/"
	res, body := c.call("POST", path+"fsis/determination", `{"required":true,"reason":"x"}`)
	if res.StatusCode != 401 && res.StatusCode != 403 {
		t.Errorf("a key determines: %d %s", res.StatusCode, body)
	}
	c.signed(liaison.answers("POST", path+"fsis/determination", `{"required":true,"reason":"it may be adulterated, and is in commerce"}`, 201), who)
	c.signed(liaison.answers("POST", path+"eu/determination", `{"required":true,"reason":"it has left our control"}`, 201), who)
	var got []string
	for _, k := range c.clocks("/v1/deviations/1/clocks") {
		if k.Kind == "notice" {
			got = append(got, fmt.Sprint(k.Basis, " ", k.StartedAt, " ", k.DueAt, " ", k.LateAfter, " ", k.State, " ", len(k.EscalateAt)))
		}
	}
	want := []string{
		"Reg. 178/2002 art. 19(1) 2026-10-31T15:00:00-05:00 2026-10-31T15:00:00-05:00 2026-10-31T16:00:00-05:00 running 3",
		"9 CFR 418.2 2026-10-31T15:00:00-05:00 2026-11-01T14:00:00-06:00 2026-11-01T14:00:00-06:00 running 0",
	}
	if diff := cmp.Diff(want, got); diff != "" {
		t.Error(diff)
	}
	c.set("2026-11-01T14:00:01-06:00")
	for _, k := range c.clocks("/v1/clocks?open=true") {
		if k.Kind == "notice" && k.State != "missed" {
			t.Errorf("%+v", k)
		}
	}
	var sheet CallSheetBody
	if err := json.Unmarshal([]byte(c.answers("GET", "/v1/deviations/1/call-sheet", "", 200)), &sheet); err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(CallSheetBody{[]string{}, []string{"40 kg"}, "Tallow Mere Kitchens", []string{"=North Quay Deli"}, []string{"type of product of lot L-1"}}, sheet); diff != "" {
		t.Error(diff)
	}
}

// The second: a record of Thu 2026-11-19, a plant that is closed on the 26th, due
// on Tue 2026-12-01, that is until it is over.
func TestClockOfWorkingDays(t *testing.T) {
	t.Parallel()
	c := inChicago(t, "2026-11-19T10:00:00-06:00", "regimes: [21_cfr_117, 21_cfr_123]\ncalendar: {works: [mon, tue, wed, thu, fri], closed: {2026-11-26: holiday}}\n")
	got := map[string]Moment{}
	for _, k := range c.clocks("/v1/deviations/1/clocks") {
		if k.Kind == "record_review" {
			got[*k.Obligation] = k.DueAt
		}
	}
	if diff := cmp.Diff(map[string]Moment{"row PC-21 of the published obligations that come with this tool": "2026-12-02T00:00:00-06:00",
		"row SF-05 of the published obligations that come with this tool": "2026-11-27T00:00:00-06:00"}, got); diff != "" {
		t.Error(diff)
	}
}

// A recall over HTTP: drawn up, signed, told, answered, and its ledger as a sheet.
func TestRecallOverHTTP(t *testing.T) {
	t.Parallel()
	c := inChicago(t, "2026-11-19T10:00:00-06:00", "")
	who := c.people(disposition.QALead, disposition.PlantManager, disposition.RegulatoryLiaison, disposition.Verifier)
	liaison := who["regulatory_liaison"]
	const at = "/v1/deviations/1/recall"
	var before RecallBody
	c.must(json.Unmarshal([]byte(liaison.answers("GET", at, "", 200)), &before))
	if before.ID != nil || before.State != "deciding" || len(before.Ledger) != 1 || !strings.Contains(before.Todo, "draw up a pack") {
		t.Errorf("%+v", before)
	}
	res, body := liaison.call("POST", at, `{"retrieve":true,"reason":"x","kind":"recall","depth":"retail","public_warning":"none"}`)
	if p := c.refused(res, body, 422, "pack-incomplete"); len(p.Errors) != 1 || p.Errors[0].Location != "body.discovery" {
		t.Errorf("%+v", p.Errors)
	}
	pack := `{"retrieve":true,"reason":"the limit may have been missed","kind":"recall","depth":"retail","public_warning":"none","discovery":"a check","contact":"the liaison",
		"text":"Stop distribution.","effectiveness_level":"C","hazard_evaluation":{"illness":"none known","conditions":"none known","groups":"the elderly",
		"seriousness":"serious","likelihood":"possible","consequences":"illness"}}`
	c.signed(liaison.answers("POST", at, pack, 201), who)
	told := `{"items":[{"consignee":"=North Quay Deli","text_version":1,"method":"telephone","whom":"the manager","person":"liaison","at":"2026-11-19T09:59:00-06:00"}]}`
	res, body = c.call("POST", at+"/notices", told)
	if res.StatusCode != 401 && res.StatusCode != 403 {
		t.Errorf("a key tells: %d %s", res.StatusCode, body)
	}
	liaison.answers("POST", at+"/notices", told, 201)
	c.answers("POST", at+"/responses", `{"items":[{"lot":"L-1","shipment":"S-1","on_hand":"30","returned":"0","destroyed":"0","sold_on":"10","quantity_unit":"kg","person":"the manager","at":"2026-11-19T09:59:30-06:00"}]}`, 201)
	var b RecallBody
	if err := json.Unmarshal([]byte(who["verifier"].answers("POST", at+"/sample", `{"seed":1}`, 201)), &b); err != nil {
		t.Fatal(err)
	}
	if b.State != "effectiveness_checking" || b.AgencyClass != nil || len(b.Sample.Drawn) != 1 || b.Sample.Seed != 1 || len(b.Ledger[0].Differences) != 1 {
		t.Errorf("%+v", b)
	}
	res, body = liaison.call("POST", at+"/termination-request", `{"reference":"L-1","at":"2026-11-19T09:59:40-06:00"}`)
	if p := c.refused(res, body, 409, "transition-not-allowed"); !strings.Contains(p.Detail, "21 CFR 7.55(b)") || !strings.Contains(p.Detail, "a passed check of everyone in the sample") {
		t.Error(p.Detail)
	}
	liaison.answers("POST", at+"/class", `{"class":"II","reference":"F-1","at":"2026-11-19T09:59:40-06:00"}`, 201)
	csv := c.answers("GET", at+"/ledger.csv", "", 200)
	if !strings.Contains(csv, "'=North Quay Deli,S-1,L-1,") || !strings.Contains(csv, ",30,0,0,10,true,,") {
		t.Error(csv)
	}
	if res, _ := c.call("GET", at+"/ledger.xlsx", ""); res.StatusCode != 200 || res.Header.Get("Content-Type") != asXLSX {
		t.Errorf("%d %s", res.StatusCode, res.Header.Get("Content-Type"))
	}
}
