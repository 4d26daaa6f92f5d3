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
	"lastgood/workflow/pg"
)

// scheme is the name of the keys in the OpenAPI document.
const scheme = "key"

// needs says in an operation which scopes it asks for.
func needs(scopes ...key.Scope) []map[string][]string {
	s := make([]string, len(scopes))
	for i, k := range scopes {
		s[i] = string(k)
	}
	return []map[string][]string{{scheme: s}}
}

type scopeKey struct{}

// authenticate lets nobody in without a key that has the operation's scopes, and
// tells the handler for which plant and as whom it works.
func (s *server) authenticate(api huma.API) func(huma.Context, func(huma.Context)) {
	return func(ctx huma.Context, next func(huma.Context)) {
		secret, ok := strings.CutPrefix(ctx.Header("Authorization"), "Bearer ")
		if !ok || secret == "" {
			ctx.SetHeader("WWW-Authenticate", `Bearer realm="lastgood"`)
			refuse(api, ctx, newProblem(http.StatusUnauthorized, "key-missing", "send a key: Authorization: Bearer lg_…"))
			return
		}
		sc, err := s.svc.Authenticate(ctx.Context(), secret, scopesOf(ctx.Operation())...)
		if err != nil {
			if errors.Is(err, fault.Unauthenticated) {
				ctx.SetHeader("WWW-Authenticate", `Bearer realm="lastgood", error="invalid_token"`)
			}
			var p *Problem
			errors.As(s.problemOf(ctx.Context(), err), &p)
			if slices.Contains(scopesOf(ctx.Operation()), key.ShipAsk) {
				p = closed(p)
			}
			refuse(api, ctx, p)
			return
		}
		next(huma.WithValue(ctx, scopeKey{}, sc))
	}
}

func refuse(api huma.API, ctx huma.Context, p *Problem) {
	p.Instance = requestID(ctx.Context())
	for name, value := range p.GetHeaders() {
		ctx.SetHeader(name, value[0])
	}
	_ = huma.WriteErr(api, ctx, p.Status, p.Detail, p) // the connection is gone if this fails
}

func scopesOf(op *huma.Operation) []key.Scope {
	var out []key.Scope
	for _, req := range op.Security {
		for _, s := range req[scheme] {
			out = append(out, key.Scope(s))
		}
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
