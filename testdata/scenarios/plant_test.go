//go:build linux

package scenarios

import (
	"context"
	"fmt"
	"log/slog"
	"net/http/httptest"
	"os"
	"slices"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"lastgood/api"
	"lastgood/policy/disposition"
	"lastgood/workflow"
	"lastgood/workflow/actor"
	"lastgood/workflow/key"
	"lastgood/workflow/person"
	"lastgood/workflow/pg"
	"lastgood/workflow/pg/pgtest"
)

// tick is how much time passes from one line to the next.
const tick = time.Second

// phrase is everybody's password.
const phrase = "an invented phrase"

// story is one that is being told.
type story struct {
	t     *testing.T
	where string
	at    line
	now   *atomic.Int64 // ns

	svc   *workflow.Service
	url   string
	scope pg.Scope
	plant string
	zone  *time.Location
	key   string // of the plant's systems
	staff []*colleague

	understands func(string) ([]line, error)

	batches   int
	refused   *problem // what the line before was refused for
	deviation int64    // that is spoken of
	looked    record   // that somebody looked at
	seen, tag string   // the ETag to send, and the one that came
}

// colleague is one of the people.
type colleague struct {
	code  string
	roles []string
	token string // of their session
	since time.Time
	stays bool // keeps the session that they have
}

var settings = []sentence{
	{`plant {name} in {zone} with policy {file}`, (*story).settles},
	{`people: {list...}`, (*story).employs},
	{`at {date} {time}`, func(s *story, w words) { s.setClock(w["date"], w["time"]) }},
	{`at {time}`, func(s *story, w words) { s.setClock(s.clock().Format(time.DateOnly), w["time"]) }},
	{`{who} stays signed in for {minutes} minutes`, (*story).stays},
	{`{who} gives the password once more`, (*story).confirms},
}

// open starts a server on an empty database, at the time of the first line that
// says one.
func open(t *testing.T, lines []line) *story {
	t.Helper()
	s := &story{t: t, now: &atomic.Int64{}, zone: time.UTC, deviation: 1}
	for _, l := range lines {
		if d := l.said["date"]; d != "" && strings.HasPrefix(l.text, "at ") {
			begin, err := time.Parse(time.DateOnly, d)
			s.must(err)
			s.now.Store(begin.Add(-24 * time.Hour).UnixNano())
			break
		}
	}
	db, err := pg.Open(context.Background(), pgtest.DB(t).App, func() time.Time { return time.Unix(0, s.now.Load()).UTC() })
	s.must(err)
	t.Cleanup(func() { db.Close() })
	s.svc, err = workflow.New(db)
	s.must(err)
	srv := httptest.NewServer(api.New(s.svc, api.Options{Log: slog.New(slog.NewTextHandler(t.Output(), &slog.HandlerOptions{Level: slog.LevelError}))}))
	t.Cleanup(srv.Close)
	s.url = srv.URL
	return s
}

func (s *story) must(err error) {
	s.t.Helper()
	if err != nil {
		s.fail("%v", err)
	}
}

// fail ends the story and says at which line.
func (s *story) fail(format string, args ...any) {
	s.t.Helper()
	s.t.Fatalf("%s:%d: %s\n%s", s.where, s.at.number, s.at.text, fmt.Sprintf(format, args...))
}

func (s *story) settles(w words) {
	ctx := context.Background()
	var err error
	s.zone, err = time.LoadLocation(w["zone"])
	s.must(err)
	s.plant = w["name"]
	id, err := s.svc.Plant(ctx, s.plant, w["zone"], nil)
	s.must(err)
	s.scope = pg.Scope{Plant: id, By: actor.Actor{ID: "installer", Kind: actor.Person}}
	text, err := os.ReadFile(w["file"])
	s.must(err)
	_, err = s.svc.PutPolicy(ctx, s.scope, text)
	s.must(err)
	s.key, err = s.svc.AddKey(ctx, s.scope, "plant systems", key.Scopes, s.clock().AddDate(1, 0, 0))
	s.must(err)
}

func (s *story) employs(w words) {
	for one := range strings.SplitSeq(w["list"], ";") {
		f := strings.Fields(one)
		c := &colleague{code: f[0], roles: f[1:]}
		var grants []person.Grant
		for _, r := range c.roles {
			g := person.Grant{Role: disposition.Role(r)}
			if person.NeedsQualification(g.Role) {
				g.Qualification = person.Qualification{Kind: "PCQI", Reference: "course 7"}
			}
			grants = append(grants, g)
		}
		oneTime, err := s.svc.AddPerson(context.Background(), s.scope, person.Identity{Code: c.code, Name: "N. " + c.code, Title: strings.Join(c.roles, ", ")}, grants...)
		s.must(err)
		s.sends("", "POST", "/v1/passwords", map[string]any{"plant": s.plant, "person": c.code, "code": oneTime, "password": phrase}, nil)
		s.staff = append(s.staff, c)
	}
}

func (s *story) clock() time.Time { return time.Unix(0, s.now.Load()).In(s.zone) }

func (s *story) setClock(date, hour string) {
	t := s.moment(date, hour)
	if t.Before(s.clock()) {
		s.fail("it is %s already", s.clock())
	}
	s.now.Store(t.UnixNano())
}

// moment is a time of the plant's clock; without a date it is today's.
func (s *story) moment(date, hour string) time.Time {
	if date == "" {
		date = s.clock().Format(time.DateOnly)
	}
	t, err := time.ParseInLocation("2006-01-02 15:04", date+" "+hour, s.zone)
	s.must(err)
	return t
}

func (s *story) colleague(who string) *colleague {
	i := slices.IndexFunc(s.staff, func(c *colleague) bool { return c.code == who })
	if i < 0 {
		s.fail("nobody is called %s", who)
	}
	return s.staff[i]
}

// systems are the plant's own, which hold a key.
var systems = []string{"warehouse", "floor", "recorder", "key"}

// token returns what somebody shows at the door. A person signs in again when they
// have not for a while.
func (s *story) token(who string) string {
	if slices.Contains(systems, who) {
		return s.key
	}
	c := s.colleague(who)
	if c.token == "" || !c.stays && s.clock().Sub(c.since) > 10*time.Minute {
		var b struct{ Token string }
		s.sends("", "POST", "/v1/sessions", map[string]any{"plant": s.plant, "person": c.code, "password": phrase}, &b)
		c.token, c.since = b.Token, s.clock()
	}
	return c.token
}

// stays lets time pass in which somebody goes on working and is not asked for the
// password again.
func (s *story) stays(w words) {
	s.token(w["who"])
	n, err := time.ParseDuration(w["minutes"] + "m")
	s.must(err)
	c := s.colleague(w["who"])
	c.stays = true
	for end := s.clock().Add(n); s.clock().Before(end); {
		s.now.Add(int64(5 * time.Minute))
		s.sends(w["who"], "GET", "/v1/session", nil, nil)
	}
}

func (s *story) confirms(w words) {
	c := s.colleague(w["who"])
	s.sends(c.code, "POST", "/v1/session/confirmation", map[string]any{"password": phrase}, nil)
	c.since = s.clock()
}
