package api

import (
	"context"
	"net/http"
	"slices"
	"strings"
	"time"

	"github.com/danielgtaylor/huma/v2"

	"lastgood/workflow"
	"lastgood/workflow/fault"
	"lastgood/workflow/key"
)

// DueBody says when an instrument is next to be checked.
type DueBody struct {
	Instrument     string  `json:"instrument"`
	Description    string  `json:"description"`
	Role           string  `json:"role" enum:"working,reference"`
	State          string  `json:"state" enum:"in_use,suspended"`
	CheckEveryDays int     `json:"check_every_days"`
	LastCheckAt    *string `json:"last_check_at" doc:"null: never checked"`
	LastFound      *string `json:"last_found_verdict"`
	LastGoodAt     *string `json:"last_good_at" doc:"The latest check that left it clearly in tolerance, by a reference still trusted; the days count from there"`
	NeverChecked   bool    `json:"never_checked"`
	DueOn          *string `json:"due_on" format:"date" doc:"In the plant's zone; a check on this day is in time. null: it has no good check, and nobody knows since when it is in service"`
	Overdue        bool    `json:"overdue"`
	OverdueDays    int     `json:"overdue_days"`
}

func (s *server) registerDue(api huma.API) {
	huma.Register(api, huma.Operation{OperationID: "list-due-checks", Method: http.MethodGet, Path: "/v1/checks/due",
		Summary:  "When the food-safety instruments in service are next to be checked, the longest waiting first",
		Security: needs(key.FactsRead)}, handle(s, s.listDue))
}

func (s *server) listDue(ctx context.Context, in *Paging) (*listed[DueBody], error) {
	parts, err := in.parts(2)
	if err != nil {
		return nil, err
	}
	if parts[0] != "" && parts[0] != never {
		if _, err := time.Parse(time.DateOnly, parts[0]); err != nil {
			return nil, fault.New(fault.Invalid, "bad-cursor", "this is no cursor of ours").In("query.cursor")
		}
	}
	list, err := s.svc.ChecksDue(ctx, scope(ctx, ""))
	if err != nil {
		return nil, err
	}
	items := []DueBody{}
	for _, d := range list {
		items = append(items, dueBody(d))
	}
	items = slices.DeleteFunc(items, func(d DueBody) bool { return parts[0] != "" && !d.after(parts) })
	return page(items, *in, "/v1/checks/due", nil, func(d DueBody) string { return joined(d.day(), d.Instrument) }), nil
}

// never stands in a cursor for a day that nobody knows; it sorts before all days.
const never = "-"

func (d DueBody) day() string {
	if d.DueOn == nil {
		return never
	}
	return *d.DueOn
}

// after says whether an item comes after the last one of the page before.
func (d DueBody) after(parts []string) bool {
	return d.day() > parts[0] || d.day() == parts[0] && strings.Compare(d.Instrument, parts[1]) > 0
}

func dueBody(d workflow.Due) DueBody {
	b := DueBody{Instrument: d.Instrument, Description: d.Description, Role: d.Role, State: d.State, LastCheckAt: clockOr(d.LastAt),
		LastGoodAt: clockOr(d.LastGoodAt), NeverChecked: d.LastAt == nil, DueOn: dateOr(d.On), Overdue: d.Overdue, OverdueDays: d.OverdueDays}
	if d.EveryDays != nil {
		b.CheckEveryDays = *d.EveryDays
	}
	if d.LastAt != nil {
		found := string(d.LastFound)
		b.LastFound = &found
	}
	return b
}

// dateOr is a day as it is called where the plant is.
func dateOr(t *time.Time) *string {
	if t == nil {
		return nil
	}
	s := t.Format(time.DateOnly)
	return &s
}
