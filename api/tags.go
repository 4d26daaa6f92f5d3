package api

import (
	"context"
	"fmt"
	"net/http"

	"github.com/danielgtaylor/huma/v2"

	"lastgood/api/print"
	"lastgood/policy/unit"
	"lastgood/workflow"
	"lastgood/workflow/hold"
	"lastgood/workflow/key"
)

func (s *server) registerTags(api huma.API) {
	read := needs(key.DeviationsRead)
	huma.Register(api, huma.Operation{OperationID: "print-hold-tag", Method: http.MethodGet, Path: "/v1/holds/{id}/tag.pdf",
		Summary: "The tag of a standing hold, A5", Security: read, Responses: asPDF()}, handle(s, s.printTag))
	huma.Register(api, huma.Operation{OperationID: "print-hold-tags", Method: http.MethodGet, Path: "/v1/deviations/{id}/hold-tags.pdf",
		Summary: "The tags of a deviation's standing holds, a page each", Security: read, Responses: asPDF()}, handle(s, s.printTags))
}

func (s *server) printTag(ctx context.Context, in *HoldPath) (*documentAnswer, error) {
	t, err := s.svc.HoldTag(ctx, scope(ctx, ""), hold.ID(in.ID))
	if err != nil {
		return nil, err
	}
	name := fmt.Sprintf("hold-%d", in.ID)
	b, err := print.Tags(name, tagsOnPaper(t))
	return pdf(name, b, err)
}

func (s *server) printTags(ctx context.Context, in *DeviationPath) (*documentAnswer, error) {
	t, err := s.svc.DeviationTags(ctx, scope(ctx, ""), workflow.DeviationID(in.ID))
	if err != nil {
		return nil, err
	}
	name := fmt.Sprintf("hold-tags-deviation-%d", in.ID)
	b, err := print.Tags(name, tagsOnPaper(t))
	return pdf(name, b, err)
}

// tagsOnPaper puts tags into words. A tag bears the time of its hold, so that the
// same hold prints the same tag.
func tagsOnPaper(t workflow.HoldTags) []print.Tag {
	out := make([]print.Tag, len(t.Holds))
	for i, h := range t.Holds {
		out[i] = print.Tag{Lot: h.LotCode, Large: []string{"DO NOT MOVE", because(h), amountOf(h) + placeOf(h)}, At: h.PlacedAt,
			Code: fmt.Sprintf("lastgood:hold:%d", h.ID),
			Foot: fmt.Sprintf("%s · hold %d", t.Plant, h.ID)}
		say := func(name, value string) { out[i].Small = append(out[i].Small, [2]string{name, value}) }
		if h.Portion != "" {
			say("portion", h.Portion)
		}
		say("why", whyHeld(t, h))
		say("since", h.PlacedAt.In(t.Zone).Format("2006-01-02 15:04 -07:00"))
		say("placed by", h.PlacedBy)
		say("lifted by", "QA only")
	}
	return out
}

// because says in the large letters what the hold belongs to.
func because(h hold.Hold) string {
	switch {
	case h.Deviation != 0:
		return fmt.Sprintf("Deviation %d", h.Deviation)
	case h.Cascade != 0:
		return fmt.Sprintf("Cascade %d", h.Cascade)
	}
	return fmt.Sprintf("Hold %d", h.ID)
}

// whyHeld says what is the matter with the lot, without a verdict: that may
// change while the tag hangs.
func whyHeld(t workflow.HoldTags, h hold.Hold) string {
	of := ""
	if h.BecauseOf != h.LotCode {
		of = ", by lot " + h.BecauseOf
	}
	switch {
	case h.Deviation != 0:
		return "thermometer " + t.Deviations[h.Deviation] + of
	case h.Cascade != 0:
		return "reference " + t.Cascades[h.Cascade] + of
	}
	return h.Reason
}

func amountOf(h hold.Hold) string {
	if h.Quantity == nil || h.Unit == nil {
		return "all that is left"
	}
	return unit.Quantity{Amount: *h.Quantity, Unit: *h.Unit}.String()
}

func placeOf(h hold.Hold) string {
	if h.Location == nil {
		return ""
	}
	return " · " + *h.Location
}
