package workflow

import (
	"context"
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"lastgood/policy/unit"
	"lastgood/workflow/instrument"
	"lastgood/workflow/pg"
)

// FormReference is a reference that the plant has for comparisons.
type FormReference struct {
	Code        string
	Description string
	Certificate string // empty: it has none
	ValidUntil  *time.Time
	// From and To are the certified temperatures, in Scale.
	From, To unit.Micro
	Scale    unit.Scale
	// Reaches are the form's comparisons that the certificate covers, by index into
	// the points.
	Reaches []int
	// WhyNot says why it must not be used now; empty: it may.
	WhyNot string
}

// certified is how far [K] beyond its outer points a certificate is still used,
// as when a check is judged (metrology.Compared).
const certified = 10

// mostCertificates is more than a plant has.
const mostCertificates = 100_000

// references returns the plant's references with what they are good for, those
// that may be used first.
func references(ctx context.Context, tx *pg.Tx, f CheckForm) ([]FormReference, error) {
	list, err := instrument.List(ctx, tx, 0, mostCertificates)
	if err != nil {
		return nil, err
	}
	certificates, err := instrument.Certificates(ctx, tx, "", 0, mostCertificates)
	if err != nil {
		return nil, err
	}
	slices.SortStableFunc(certificates, func(a, b instrument.Numbered[instrument.Certificate]) int {
		return a.Value.IssuedAt.Compare(b.Value.IssuedAt)
	})
	out := []FormReference{}
	for _, in := range list {
		if in.Role != instrument.Reference || in.Code == f.Instrument.Code {
			continue
		}
		r := FormReference{Code: in.Code, Description: in.Description, Scale: in.Unit}
		why, err := inDoubtNow(ctx, tx, in.ID)
		if err != nil {
			return nil, err
		}
		if r.WhyNot = outOfService(in); why != "" {
			r.WhyNot = "it is in doubt itself: " + why
		}
		r.certify(certificates, f)
		out = append(out, r)
	}
	slices.SortFunc(out, func(a, b FormReference) int {
		if usable := a.WhyNot == ""; usable != (b.WhyNot == "") {
			if usable {
				return -1
			}
			return 1
		}
		return strings.Compare(a.Code, b.Code)
	})
	return out, nil
}

// certify finds the certificate that holds now, the newest if several do.
func (r *FormReference) certify(list []instrument.Numbered[instrument.Certificate], f CheckForm) {
	var last, valid *instrument.Certificate
	for i := range list {
		if c := &list[i].Value; c.Instrument == r.Code {
			last = c
			if !f.MadeAt.Before(c.IssuedAt) && !f.MadeAt.After(c.ValidUntil) {
				valid = c
			}
		}
	}
	if valid == nil {
		if r.WhyNot == "" {
			r.WhyNot = "it has no certificate"
			if last != nil {
				r.WhyNot = fmt.Sprintf("no certificate holds now: %s is valid until %s", last.Number, last.ValidUntil.UTC().Format(time.DateOnly))
			}
		}
		return
	}
	r.Certificate, r.ValidUntil, r.Scale = valid.Number, &valid.ValidUntil, valid.Unit
	r.From, r.To = valid.Points[0].At, valid.Points[len(valid.Points)-1].At
	for i, p := range f.Points {
		t := float64(unit.ToCelsius(p.Expected, p.Scale))
		low, high := float64(unit.ToCelsius(r.From, r.Scale)), float64(unit.ToCelsius(r.To, r.Scale))
		if p.Kind == instrument.Comparison && math.Max(low-t, t-high) <= certified {
			r.Reaches = append(r.Reaches, i)
		}
	}
}
