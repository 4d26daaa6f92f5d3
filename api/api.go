package api

import (
	"context"
	"crypto/rand"
	"io"
	"log/slog"
	"maps"
	"net/http"
	"net/http/httptest"
	"time"

	"github.com/danielgtaylor/huma/v2"
	"github.com/danielgtaylor/huma/v2/adapters/humago"
	"github.com/go-json-experiment/json"
	"github.com/go-json-experiment/json/jsontext"

	"lastgood/workflow"
)

// Options are the limits of the interface. Zero values mean the defaults.
type Options struct {
	Log       *slog.Logger
	MaxBody   int64         // bytes of a JSON body; 1 MiB
	MaxUpload int64         // bytes of an upload after decompression; 1 GiB
	StallTime time.Duration // an upload that sends nothing for so long ends; 30 s
	Requests  Rate          // of one key or session, the ship gate and uploads aside; 300 a second, 3000 at once
	SignIns   Rate          // from one address; 2 a second, 240 at once
}

// server is what handlers share.
type server struct {
	svc *workflow.Service
	log *slog.Logger
	Options
	requests, signIns *limiter
}

// New returns the interface to an engine.
func New(svc *workflow.Service, o Options) http.Handler {
	s := &server{svc: svc, log: o.Log, Options: o}
	if s.log == nil {
		s.log = slog.New(slog.DiscardHandler)
	}
	if s.MaxBody == 0 {
		s.MaxBody = 1 << 20
	}
	if s.MaxUpload == 0 {
		s.MaxUpload = 1 << 30
	}
	if s.StallTime == 0 {
		s.StallTime = 30 * time.Second
	}
	s.requests = newLimiter(s.Requests.or(requestRate), time.Now)
	s.signIns = newLimiter(s.SignIns.or(signInRate), time.Now)
	mux := http.NewServeMux()
	s.routes(mux)
	return s.outer(mux)
}

// routes puts everything that is offered on the mux and returns what describes
// it.
func (s *server) routes(mux *http.ServeMux) huma.API {
	mux.HandleFunc("GET /healthz", s.health)
	api := humago.New(mux, config())
	api.UseMiddleware(s.authenticate(api))
	for _, register := range []func(huma.API){
		s.registerPolicy, s.registerPolicyTrial, s.registerFacts, s.registerChecks, s.registerReadings,
		s.registerDeviations, s.registerCascades, s.registerAssessments, s.registerHolds, s.registerTrail, s.registerCheckpoints, s.registerPackets,
		s.registerDrills, s.registerDue, s.registerForms, s.registerGate, s.registerTags, s.registerExport, s.registerWebhooks,
		s.registerSessions, s.registerPeople,
		s.registerNotifications, s.registerClocks, s.registerRecall,
		s.registerRecords, s.registerSignatures, s.registerPortions, s.registerDispositions, s.registerExecutions, s.registerEvidence, s.registerClosing,
		s.registerRetests, s.registerCorrections,
	} {
		register(api)
	}
	describeFailures(api.OpenAPI())
	describeNulls(api.OpenAPI())
	describeIfMatch(api.OpenAPI())
	describeWords(api.OpenAPI())
	return api
}

// config is huma with strict JSON, no pages of its own, and nothing unknown let
// through.
func config() huma.Config {
	c := huma.DefaultConfig("lastgood", "1")
	c.Info.Description = about
	c.CreateHooks = nil
	c.SchemasPath, c.DocsPath = "", ""
	c.RejectUnknownQueryParameters = true
	c.Formats = map[string]huma.Format{"application/json": strictJSON, "json": strictJSON}
	c.DefaultFormat = "application/json"
	c.Transformers = []huma.Transformer{nameProblem}
	c.Components.SecuritySchemes = map[string]*huma.SecurityScheme{
		scheme:        {Type: "http", Scheme: "bearer", Description: "The key of a plant system (lg_…), made with lastgood key add; it never signs"},
		sessionScheme: {Type: "http", Scheme: "bearer", Description: "The session of a person (ls_…), begun with POST /v1/sessions; the scopes are those of their roles"},
	}
	return c
}

// nameProblem lets a problem document name its line in the log, whoever made it.
func nameProblem(ctx huma.Context, _ string, v any) (any, error) {
	if p, ok := v.(*Problem); ok && p.Instance == "" {
		p.Instance = requestID(ctx.Context())
	}
	return v, nil
}

// health answers whether the engine can work.
func (s *server) health(w http.ResponseWriter, r *http.Request) {
	if err := s.svc.Ready(r.Context()); err != nil {
		p := newProblem(http.StatusServiceUnavailable, "busy", "the database cannot be reached just now")
		p.Instance = requestID(r.Context())
		writeProblem(w, p)
		return
	}
	w.Header().Set("Content-Type", "application/json")
	_, _ = io.WriteString(w, `{"ready":true}`+"\n")
}

type requestIDKey struct{}

func requestID(ctx context.Context) string {
	id, _ := ctx.Value(requestIDKey{}).(string)
	return id
}

// outer is what stands around every request: a name for it, a log line, problem
// documents for what no route takes and for what panics.
func (s *server) outer(mux *http.ServeMux) http.Handler {
	inTime := s.inGateTime(mux)
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		id := rand.Text()
		r = r.WithContext(context.WithValue(r.Context(), requestIDKey{}, id))
		rec := &recorder{ResponseWriter: w}
		started := time.Now()
		defer func() {
			p := recover()
			if p != nil && p != http.ErrAbortHandler {
				s.log.Error("panic", "instance", id, "panic", p)
			}
			if p != nil && rec.status == 0 {
				problem := newProblem(http.StatusInternalServerError, "internal", internalDetail)
				problem.Instance = id
				writeProblem(rec, problem)
				p = nil
			}
			s.log.Info("request", "instance", id, "method", r.Method, "route", r.Pattern, "status", rec.status,
				"ms", time.Since(started).Milliseconds())
			if p != nil { // half an answer must not look like a whole one
				panic(http.ErrAbortHandler)
			}
		}()
		secure(rec.Header(), r.URL.Path)
		if p := addressFault(r); p != nil {
			p.Instance = id
			writeProblem(rec, p)
			return
		}
		handler, pattern := mux.Handler(r)
		if pattern == "" {
			noRoute(rec, r, handler, id)
			return
		}
		r.Pattern = pattern // for the log line
		inTime.ServeHTTP(rec, r)
	})
}

// noRoute answers for the mux, which would say 404 and 405 in plain text.
func noRoute(w http.ResponseWriter, r *http.Request, handler http.Handler, id string) {
	said := httptest.NewRecorder()
	handler.ServeHTTP(said, r)
	detail := "there is nothing at " + r.URL.Path
	if allow := said.Header().Get("Allow"); allow != "" {
		w.Header().Set("Allow", allow)
		detail = "this takes only " + allow
	}
	p := newProblem(said.Code, ruleOf(said.Code), detail)
	p.Instance = id
	writeProblem(w, p)
}

func writeProblem(w http.ResponseWriter, p *Problem) {
	maps.Copy(w.Header(), p.GetHeaders())
	w.Header().Set("Content-Type", "application/problem+json")
	w.WriteHeader(p.Status)
	_ = json.MarshalWrite(w, p, jsontext.WithIndent("  "), jsontext.AllowInvalidUTF8(true)) // the connection is gone if this fails
}

// recorder remembers the status for the log.
type recorder struct {
	http.ResponseWriter
	status int
}

// WriteHeader remembers the status.
func (r *recorder) WriteHeader(status int) {
	if r.status == 0 {
		r.status = status
	}
	r.ResponseWriter.WriteHeader(status)
}

// Write remembers that something was written.
func (r *recorder) Write(b []byte) (int, error) {
	if r.status == 0 {
		r.status = http.StatusOK
	}
	return r.ResponseWriter.Write(b)
}

// Unwrap lets http.ResponseController reach the connection.
func (r *recorder) Unwrap() http.ResponseWriter { return r.ResponseWriter }
