package api

import (
	"cmp"
	"context"
	"fmt"
	"math"
	"slices"
	"time"

	"lastgood/api/print"
	"lastgood/policy/unit"
	"lastgood/workflow"
)

func (s *server) printLabel(ctx context.Context, in *InstrumentPath) (*documentAnswer, error) {
	l, err := s.svc.Label(ctx, scope(ctx, ""), in.Instrument)
	if err != nil {
		return nil, err
	}
	b, err := labelOnPaper(l).PDF()
	return pdf("label-"+in.Instrument, b, err)
}

// mostErrors is how many errors fit on a label.
const mostErrors = 3

// labelOnPaper puts a label into words. It bears the date of its check, so that
// the same check prints the same label.
func labelOnPaper(l workflow.Label) print.Label {
	out := print.Label{Number: l.Instrument.Code, Bad: l.WhyNot, Code: linkOf(l.Instrument.Code), At: time.Unix(0, 0)}
	if l.CheckedAt == nil {
		return out
	}
	out.At = *l.CheckedAt
	out.Lines = append(out.Lines, "checked "+onDay(*l.CheckedAt, l.Zone))
	if l.VerifiedBy != "" {
		out.Lines = append(out.Lines, "verified by "+l.VerifiedBy)
	}
	if l.WhyNot == "" && l.Due.On != nil {
		out.Lines = append(out.Lines, "next check by "+l.Due.On.Format(time.DateOnly))
	}
	out.Lines = append(out.Lines, errorLines(l.Errors, l.Instrument.Unit)...)
	return out
}

// errorLines says how wrong it was left, at the points where it was most so.
func errorLines(list []workflow.LabelError, s unit.Scale) []string {
	all := len(list)
	if all > mostErrors {
		list = slices.Clone(list)
		slices.SortStableFunc(list, func(a, b workflow.LabelError) int {
			return cmp.Compare(math.Abs(b.Error.Degrees()), math.Abs(a.Error.Degrees()))
		})
		list = list[:mostErrors]
	}
	var out []string
	for _, e := range list {
		out = append(out, fmt.Sprintf("%s at %s", difference(e.Error, s), degrees(e.At, s)))
	}
	if all > mostErrors {
		out = append(out, fmt.Sprintf("the largest %d of %d errors", mostErrors, all))
	}
	return out
}
