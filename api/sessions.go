package api

import (
	"context"
	"net/http"

	"github.com/danielgtaylor/huma/v2"

	"lastgood/workflow/person"
)

// SessionBody is that somebody is signed in.
type SessionBody struct {
	Session         string       `json:"session" doc:"Its public name, as signatures give it; not the token"`
	Person          string       `json:"person"`
	Name            string       `json:"name"`
	Title           string       `json:"title"`
	Roles           []ActingBody `json:"roles" doc:"In which the person may act now"`
	AuthenticatedAt string       `json:"authenticated_at" doc:"When they last gave their password"`
	IdleEnd         string       `json:"idle_end" doc:"When it ends if nothing more is asked"`
	End             string       `json:"end" doc:"When it ends in any case"`
}

// ActingBody is a role in which somebody may act now.
type ActingBody struct {
	Role string  `json:"role"`
	For  *string `json:"stands_in_for" doc:"null: the role is their own"`
}

// NewSessionBody is a session as it begins.
type NewSessionBody struct {
	Token string `json:"token" doc:"Shown this once: Authorization: Bearer ls_…"`
	SessionBody
}

func sessionBody(s person.Session) SessionBody {
	roles := make([]ActingBody, len(s.Roles))
	for i, a := range s.Roles {
		roles[i] = ActingBody{string(a.Role), orNull(a.For)}
	}
	return SessionBody{s.ID, s.Code, s.Name, s.Title, roles, clock(s.AuthenticatedAt), clock(s.IdleEnd), clock(s.End)}
}

func (s *server) registerSessions(api huma.API) {
	huma.Register(api, huma.Operation{OperationID: "sign-in", Method: http.MethodPost, Path: "/v1/sessions",
		Summary:       "Sign in with a password; five wrong ones in 15 minutes lock signing in for 15 minutes",
		DefaultStatus: http.StatusCreated, Security: openToAll}, handle(s, s.signIn))
	huma.Register(api, huma.Operation{OperationID: "get-session", Method: http.MethodGet, Path: "/v1/session",
		Summary: "Who is signed in, in which roles, until when", Security: needsPerson()}, handle(s, s.getSession))
	huma.Register(api, huma.Operation{OperationID: "confirm-session", Method: http.MethodPost, Path: "/v1/session/confirmation",
		Summary: "Give the password once more, as signing asks for now and then", Security: needsPerson()}, handle(s, s.confirmSession))
	huma.Register(api, huma.Operation{OperationID: "sign-out", Method: http.MethodDelete, Path: "/v1/session",
		Summary: "End the session", Security: needsPerson()}, handle(s, s.signOut))
	huma.Register(api, huma.Operation{OperationID: "set-password", Method: http.MethodPost, Path: "/v1/passwords",
		Summary: "Set a password of your own, with the one-time code that an administrator gave you", Security: openToAll}, handle(s, s.setPassword))
}

func (s *server) signIn(ctx context.Context, in *struct {
	Body struct {
		Plant    string `json:"plant" maxLength:"200"`
		Person   string `json:"person" maxLength:"200" doc:"The person's code"`
		Password string `json:"password" maxLength:"1000"`
	}
}) (*struct {
	CacheControl string `header:"Cache-Control"`
	Body         NewSessionBody
}, error) {
	token, session, err := s.svc.SignIn(ctx, in.Body.Plant, in.Body.Person, in.Body.Password)
	if err != nil {
		return nil, err
	}
	return &struct {
		CacheControl string `header:"Cache-Control"`
		Body         NewSessionBody
	}{noStore, NewSessionBody{token, sessionBody(session)}}, nil
}

// noStore keeps what is shown once out of everybody's caches.
const noStore = "no-store"

type sessionAnswer struct{ Body SessionBody }

func (s *server) getSession(ctx context.Context, _ *struct{}) (*sessionAnswer, error) {
	return &sessionAnswer{sessionBody(sessionOf(ctx))}, nil
}

func (s *server) confirmSession(ctx context.Context, in *struct {
	Body struct {
		Password string `json:"password" maxLength:"1000"`
	}
}) (*sessionAnswer, error) {
	at, err := s.svc.ConfirmSession(ctx, scope(ctx, ""), in.Body.Password)
	if err != nil {
		return nil, err
	}
	return &sessionAnswer{sessionBody(sessionOf(ctx).ConfirmedAt(at))}, nil
}

func (s *server) signOut(ctx context.Context, _ *struct{}) (*struct{}, error) {
	return nil, s.svc.SignOut(ctx, scope(ctx, ""))
}

func (s *server) setPassword(ctx context.Context, in *struct {
	Body struct {
		Plant    string `json:"plant" maxLength:"200"`
		Person   string `json:"person" maxLength:"200" doc:"The person's code"`
		Code     string `json:"code" maxLength:"100" doc:"The one-time code"`
		Password string `json:"password" maxLength:"1000" doc:"At least 12 characters, whichever"`
	}
}) (*struct{}, error) {
	b := in.Body
	return nil, s.svc.SetPassword(ctx, b.Plant, b.Person, b.Code, b.Password)
}
