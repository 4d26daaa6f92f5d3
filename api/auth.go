package api

import (
	"context"
	"errors"
	"net/http"
	"slices"
	"strings"

	"github.com/danielgtaylor/huma/v2"

	"lastgood/workflow/fault"
	"lastgood/workflow/key"
	"lastgood/workflow/person"
	"lastgood/workflow/pg"
)

// The names in the OpenAPI document of what is shown at the door: the key of a
// plant system, or the session of a person.
const (
	scheme        = "key"
	sessionScheme = "session"
)

// needs says in an operation which scopes it asks for, of a key or of a person's
// roles.
func needs(scopes ...key.Scope) []map[string][]string {
	s := spelled(scopes)
	return []map[string][]string{{scheme: s}, {sessionScheme: s}}
}

// needsPerson says in an operation that a key never opens it, and which scopes it
// asks for of a person's roles; none: any person who is signed in.
func needsPerson(scopes ...key.Scope) []map[string][]string {
	return []map[string][]string{{sessionScheme: spelled(scopes)}}
}

// needsKey says in an operation which scopes it asks for of a key.
func needsKey(scopes ...key.Scope) []map[string][]string {
	return []map[string][]string{{scheme: spelled(scopes)}}
}

// openToAll says in an operation that nothing need be shown.
var openToAll = []map[string][]string{{}}

func spelled(scopes []key.Scope) []string {
	s := make([]string, len(scopes))
	for i, k := range scopes {
		s[i] = string(k)
	}
	return s
}

type (
	scopeKey   struct{}
	sessionKey struct{}
)

// authenticate lets nobody in without a key or a session that has the operation's
// scopes, and tells the handler for which plant and as whom it works.
func (s *server) authenticate(api huma.API) func(huma.Context, func(huma.Context)) {
	return func(ctx huma.Context, next func(huma.Context)) {
		op := ctx.Operation()
		if len(op.Security) == 1 && len(op.Security[0]) == 0 {
			if wait := s.waitAt(ctx.RemoteAddr()); wait > 0 {
				refuse(api, ctx, tooMany(wait))
				return
			}
			next(ctx)
			return
		}
		secret, ok := strings.CutPrefix(ctx.Header("Authorization"), "Bearer ")
		if !ok || secret == "" {
			ctx.SetHeader("WWW-Authenticate", `Bearer realm="lastgood"`)
			refuse(api, ctx, newProblem(http.StatusUnauthorized, "key-missing", "send a key or a session: Authorization: Bearer lg_… or ls_…"))
			return
		}
		if wait := s.wait(op, secret); wait > 0 {
			refuse(api, ctx, tooMany(wait))
			return
		}
		sc, session, err := s.identify(ctx.Context(), secret, op)
		if err != nil {
			if errors.Is(err, fault.Unauthenticated) {
				ctx.SetHeader("WWW-Authenticate", `Bearer realm="lastgood", error="invalid_token"`)
			}
			var p *Problem
			errors.As(s.problemOf(ctx.Context(), err), &p)
			if slices.Contains(scopesOf(op), key.ShipAsk) {
				p = closed(p)
			}
			refuse(api, ctx, p)
			return
		}
		next(huma.WithValue(huma.WithValue(ctx, scopeKey{}, sc), sessionKey{}, session))
	}
}

// identify returns for whom and as whom the holder of a key or a session works.
// The session is empty for a key.
func (s *server) identify(ctx context.Context, secret string, op *huma.Operation) (pg.Scope, person.Session, error) {
	if strings.HasPrefix(secret, person.Prefix) {
		sc, session, err := s.svc.AuthenticatePerson(ctx, secret)
		if err != nil {
			return pg.Scope{}, person.Session{}, err
		}
		return sc, session, admit(session, op)
	}
	for _, way := range op.Security {
		if scopes, ok := way[scheme]; ok {
			sc, err := s.svc.Authenticate(ctx, secret, toScopes(scopes)...)
			return sc, person.Session{}, err
		}
	}
	if _, err := s.svc.Authenticate(ctx, secret); err != nil {
		return pg.Scope{}, person.Session{}, err
	}
	return pg.Scope{}, person.Session{}, fault.New(fault.Forbidden, "human-signature-required", "this takes a person who is signed in, never a key")
}

func refuse(api huma.API, ctx huma.Context, p *Problem) {
	p.Instance = requestID(ctx.Context())
	for name, value := range p.GetHeaders() {
		ctx.SetHeader(name, value[0])
	}
	_ = huma.WriteErr(api, ctx, p.Status, p.Detail, p) // the connection is gone if this fails
}

// scopesOf returns the scopes that an operation asks for, the first way in.
func scopesOf(op *huma.Operation) []key.Scope {
	for _, way := range op.Security {
		for _, scopes := range way {
			return toScopes(scopes)
		}
	}
	return nil
}

func toScopes(scopes []string) []key.Scope {
	out := make([]key.Scope, len(scopes))
	for i, s := range scopes {
		out[i] = key.Scope(s)
	}
	return out
}

// scope returns for whom and as whom a handler works, with the caller's
// idempotency key.
func scope(ctx context.Context, idemKey string) pg.Scope {
	sc, _ := ctx.Value(scopeKey{}).(pg.Scope)
	sc.IdemKey = strings.Trim(idemKey, `"`)
	return sc
}

// sessionOf returns the session of whoever calls a handler that needs a person.
func sessionOf(ctx context.Context) person.Session {
	session, _ := ctx.Value(sessionKey{}).(person.Session)
	return session
}
