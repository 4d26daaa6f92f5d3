package api

import (
	"context"
	"net/http"
	"time"

	"github.com/danielgtaylor/huma/v2"

	"lastgood/policy/disposition"
	"lastgood/workflow/key"
	"lastgood/workflow/person"
)

// PersonBody is somebody of the plant.
type PersonBody struct {
	Code        string     `json:"code" doc:"As the trail and the records call them; never used again"`
	Name        string     `json:"name" doc:"As it is printed beside a signature"`
	Title       string     `json:"title"`
	ActiveUntil *string    `json:"active_until" doc:"When they left or will; null: nobody has said so"`
	Roles       []RoleBody `json:"roles" doc:"Held now or later, and those that they stand in for"`
	Version     int        `json:"version"`
}

// RoleBody is a role that somebody may act in, now or later.
type RoleBody struct {
	Role          string             `json:"role"`
	For           *string            `json:"stands_in_for" doc:"null: the role is their own"`
	From          string             `json:"from"`
	Until         *string            `json:"until" doc:"null: no end is set"`
	Qualification *QualificationBody `json:"qualification" doc:"null: none"`
}

// QualificationBody is what somebody is qualified by.
type QualificationBody struct {
	Kind       string `json:"kind" maxLength:"100" doc:"PCQI, 9 CFR 417.7, 21 CFR 123.10, processing authority, …"`
	Reference  string `json:"reference" maxLength:"200" doc:"The certificate, the course, the letter"`
	ValidUntil string `json:"valid_until,omitempty" doc:"Left out: it does not run out"`
}

// GrantBody is a role to be given to somebody.
type GrantBody struct {
	Role          string             `json:"role" maxLength:"50"`
	From          string             `json:"from,omitempty" doc:"Left out: now"`
	Until         string             `json:"until,omitempty" doc:"Left out: no end is set"`
	Qualification *QualificationBody `json:"qualification,omitempty" doc:"A qualified_person and a process_authority need one"`
}

// OneTimeBody is what somebody sets their password with.
type OneTimeBody struct {
	Person string `json:"person"`
	Code   string `json:"one_time_code" doc:"Shown this once; it can be used for 7 days, with POST /v1/passwords"`
}

// ResetBody is what became of a reset.
type ResetBody struct {
	Person string  `json:"person"`
	Code   *string `json:"one_time_code" doc:"Shown this once; it can be used for 7 days, with POST /v1/passwords; null: nothing is reset yet, a second administrator has to ask for the same"`
	Until  *string `json:"second_administrator_until" doc:"By when they have to; null: it is reset"`
}

type resetAnswer struct {
	CacheControl string `header:"Cache-Control"`
	Body         ResetBody
}

type oneTimeAnswer struct {
	CacheControl string `header:"Cache-Control"`
	Body         OneTimeBody
}

// PersonPath names a person.
type PersonPath struct {
	Code string `path:"code" maxLength:"200"`
}

func (s *server) registerPeople(api huma.API) {
	administer := needsPerson(peopleWrite)
	huma.Register(api, huma.Operation{OperationID: "list-people", Method: http.MethodGet, Path: "/v1/people",
		Summary:  "People of the plant, those who have left among them: records name them",
		Security: append(needs(key.DeviationsRead), administer...)}, handle(s, s.listPeople))
	huma.Register(api, huma.Operation{OperationID: "add-person", Method: http.MethodPost, Path: "/v1/people",
		Summary:       "Add a person; the answer holds the one-time code with which they set a password, and so is not repeated for an idempotency key",
		DefaultStatus: http.StatusCreated, Security: administer}, handle(s, s.addPerson))
	huma.Register(api, huma.Operation{OperationID: "reset-person", Method: http.MethodPost, Path: "/v1/people/{code}/reset",
		Summary:  "Take a person's password, end their sessions and make a new one-time code; of who signs or administers, two administrators have to ask for it, and only the second is shown the code",
		Security: administer}, handle(s, s.resetPerson))
	huma.Register(api, huma.Operation{OperationID: "record-departure", Method: http.MethodPost, Path: "/v1/people/{code}/departure",
		Summary: "Say until when a person is at the plant; their code is never used again", Security: administer}, handle(s, s.depart))
	huma.Register(api, huma.Operation{OperationID: "grant-role", Method: http.MethodPost, Path: "/v1/people/{code}/roles",
		Summary: "Give a person a role; an administrator holds no other", Security: administer}, handle(s, s.grantRole))
	huma.Register(api, huma.Operation{OperationID: "end-role", Method: http.MethodDelete, Path: "/v1/people/{code}/roles/{role}",
		Summary: "End a person's role now", Security: administer}, handle(s, s.endRole))
	huma.Register(api, huma.Operation{OperationID: "delegate-role", Method: http.MethodPost, Path: "/v1/delegations",
		Summary: "Let one person stand in for another in a role, for a time", Security: administer}, handle(s, s.delegate))
}

func (s *server) listPeople(ctx context.Context, in *struct{ Paging }) (*listed[PersonBody], error) {
	after, err := in.after()
	if err != nil {
		return nil, err
	}
	list, err := s.svc.People(ctx, scope(ctx, ""), after, in.Limit+1)
	if err != nil {
		return nil, err
	}
	items := make([]PersonBody, len(list))
	for i, p := range list {
		items[i] = personBody(p)
	}
	return page(items, in.Paging, "/v1/people", nil, func(p PersonBody) string { return p.Code }), nil
}

func personBody(p person.Person) PersonBody {
	b := PersonBody{p.Code, p.Name, p.Title, clockOr(p.ActiveUntil), make([]RoleBody, len(p.Roles)), p.Version}
	for i, h := range p.Roles {
		b.Roles[i] = RoleBody{string(h.Role), orNull(h.For), clock(h.From), clockOr(h.Until), nil}
		if q := h.Qualification; q.Kind != "" {
			b.Roles[i].Qualification = &QualificationBody{q.Kind, q.Reference, clockOrEmpty(q.Until)}
		}
	}
	return b
}

func (s *server) addPerson(ctx context.Context, in *struct {
	Body struct {
		Code  string      `json:"code" maxLength:"200" doc:"As the trail and the records will call them"`
		Name  string      `json:"name" maxLength:"200" doc:"As it is printed beside a signature"`
		Title string      `json:"title" maxLength:"200"`
		Roles []GrantBody `json:"roles,omitempty" maxItems:"20"`
	}
}) (*oneTimeAnswer, error) {
	b := in.Body
	grants := make([]person.Grant, len(b.Roles))
	for i, g := range b.Roles {
		var err error
		if grants[i], err = g.grant(); err != nil {
			return nil, err
		}
	}
	oneTime, err := s.svc.AddPerson(ctx, scope(ctx, ""), person.Identity{Code: b.Code, Name: b.Name, Title: b.Title}, grants...)
	if err != nil {
		return nil, err
	}
	return &oneTimeAnswer{noStore, OneTimeBody{b.Code, oneTime}}, nil
}

func (s *server) resetPerson(ctx context.Context, in *PersonPath) (*resetAnswer, error) {
	r, err := s.svc.ResetPerson(ctx, scope(ctx, ""), in.Code)
	if err != nil {
		return nil, err
	}
	b := ResetBody{Person: in.Code, Code: orNull(r.OneTime)}
	if !r.Until.IsZero() {
		b.Until = clockOr(&r.Until)
	}
	return &resetAnswer{noStore, b}, nil
}

func (s *server) depart(ctx context.Context, in *struct {
	PersonPath
	Write
	Body struct {
		Until string `json:"active_until,omitempty" doc:"Left out: now"`
	}
}) (*struct{}, error) {
	until, err := timeOr(in.Body.Until, "body.active_until", time.Time{})
	if err != nil {
		return nil, err
	}
	return nil, s.svc.Depart(ctx, scope(ctx, in.IdempotencyKey), in.Code, until)
}

func (s *server) grantRole(ctx context.Context, in *struct {
	PersonPath
	Write
	Body GrantBody
}) (*struct{}, error) {
	g, err := in.Body.grant()
	if err != nil {
		return nil, err
	}
	return nil, s.svc.GrantRole(ctx, scope(ctx, in.IdempotencyKey), in.Code, g)
}

func (s *server) endRole(ctx context.Context, in *struct {
	PersonPath
	Write
	Role string `path:"role" maxLength:"50"`
}) (*struct{}, error) {
	return nil, s.svc.EndRole(ctx, scope(ctx, in.IdempotencyKey), in.Code, disposition.Role(in.Role))
}

func (s *server) delegate(ctx context.Context, in *struct {
	Write
	Body struct {
		Person        string             `json:"person" maxLength:"200" doc:"Whose role it is"`
		Deputy        string             `json:"deputy" maxLength:"200"`
		Role          string             `json:"role" maxLength:"50"`
		From          string             `json:"from,omitempty" doc:"Left out: now"`
		Until         string             `json:"until"`
		Reason        string             `json:"reason" maxLength:"500"`
		Qualification *QualificationBody `json:"qualification,omitempty" doc:"The deputy's own, where the role needs one: nobody lends theirs"`
	}
}) (*struct{}, error) {
	b := in.Body
	d := person.Delegation{Person: b.Person, Deputy: b.Deputy, Role: disposition.Role(b.Role), Reason: b.Reason}
	var err error
	if d.From, err = timeOr(b.From, "body.from", time.Time{}); err != nil {
		return nil, err
	}
	if d.Until, err = timeOr(b.Until, "body.until", time.Time{}); err != nil {
		return nil, err
	}
	if d.Qualification, err = b.Qualification.qualification(); err != nil {
		return nil, err
	}
	return nil, s.svc.Delegate(ctx, scope(ctx, in.IdempotencyKey), d)
}

// grant reads a role to be given.
func (b GrantBody) grant() (g person.Grant, err error) {
	g.Role = disposition.Role(b.Role)
	if g.From, err = timeOr(b.From, "body.from", time.Time{}); err != nil {
		return g, err
	}
	if g.Until, err = timeOrNone(b.Until, "body.until"); err != nil {
		return g, err
	}
	g.Qualification, err = b.Qualification.qualification()
	return g, err
}

// qualification reads what somebody is qualified by; of nil: nothing.
func (b *QualificationBody) qualification() (q person.Qualification, err error) {
	if b == nil {
		return q, nil
	}
	q.Kind, q.Reference = b.Kind, b.Reference
	q.Until, err = timeOrNone(b.ValidUntil, "body.qualification.valid_until")
	return q, err
}

// timeOrNone reads a time that may be left out.
func timeOrNone(s, field string) (*time.Time, error) {
	if s == "" {
		return nil, nil
	}
	t, err := timeOr(s, field, time.Time{})
	return &t, err
}

func clockOrEmpty(t *time.Time) string {
	if t == nil {
		return ""
	}
	return clock(*t)
}
