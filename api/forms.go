package api

import (
	"context"
	"mime"
	"net/http"
	"net/url"
	"strconv"
	"time"

	"github.com/danielgtaylor/huma/v2"

	"lastgood/policy/unit"
	"lastgood/workflow"
	"lastgood/workflow/key"
)

// CheckFormBody is what the next check of an instrument needs. It says nothing
// of product: whoever looks at a thermometer should not know what hangs on it.
type CheckFormBody struct {
	Instrument  string              `json:"instrument"`
	Description string              `json:"description"`
	Unit        string              `json:"unit" enum:"C,F,K"`
	Tolerance   Degrees             `json:"tolerance"`
	Resolution  *Degrees            `json:"resolution"`
	RangeLow    *Degrees            `json:"range_low"`
	RangeHigh   *Degrees            `json:"range_high"`
	Adjustable  bool                `json:"adjustable"`
	DueOn       *string             `json:"due_on" format:"date"`
	Overdue     bool                `json:"overdue"`
	AltitudeM   *float64            `json:"altitude_m" doc:"null: unknown, and no boiling point is asked for"`
	Limits      []FormLimitBody     `json:"limits" doc:"That it is read for"`
	Points      []FormPointBody     `json:"points" doc:"Ascending by temperature"`
	References  []FormReferenceBody `json:"references" doc:"Those that may be used first"`
	Notes       []string            `json:"notes"`
	MadeAt      string              `json:"made_at"`
}

// FormLimitBody is a limit that the instrument is read for.
type FormLimitBody struct {
	Limit string `json:"limit"`
	Text  string `json:"text"`
}

// FormPointBody is a point that the check asks for.
type FormPointBody struct {
	Point      string    `json:"point" enum:"ice,boiling,comparison"`
	Unit       string    `json:"unit" enum:"C,F,K"`
	Expected   Degrees   `json:"expected" doc:"What a perfect instrument shows there; of a comparison, about where to make it"`
	Basis      string    `json:"basis"`
	Covers     []Degrees `json:"covers" doc:"Temperatures of limits that need this point"`
	LastGoodAt *string   `json:"last_good_at" doc:"The latest check that was good there; null: none"`
	Fields     []string  `json:"fields" doc:"To be written down, by the names of a check's point"`
}

// FormReferenceBody is a reference that the plant has.
type FormReferenceBody struct {
	Reference   string   `json:"reference"`
	Description string   `json:"description"`
	Certificate *string  `json:"certificate"`
	ValidUntil  *string  `json:"valid_until"`
	From        *Degrees `json:"from" doc:"Certified from here, in unit"`
	To          *Degrees `json:"to"`
	Unit        string   `json:"unit" enum:"C,F,K"`
	Points      []int    `json:"points" doc:"Which comparisons of the form it covers, by index"`
	WhyNot      *string  `json:"why_not" doc:"Why it must not be used now; null: it may"`
}

func (s *server) registerForms(api huma.API) {
	read := needs(key.FactsRead)
	huma.Register(api, huma.Operation{OperationID: "get-check-form", Method: http.MethodGet, Path: "/v1/instruments/{instrument}/check-form",
		Summary: "What the next check of an instrument needs: points, tolerance, references", Security: read}, handle(s, s.getCheckForm))
	huma.Register(api, huma.Operation{OperationID: "print-check-form", Method: http.MethodGet, Path: "/v1/instruments/{instrument}/check-form.pdf",
		Summary: "The same on paper, to be filled in", Security: read, Responses: asPDF()}, handle(s, s.printCheckForm))
	huma.Register(api, huma.Operation{OperationID: "print-label", Method: http.MethodGet, Path: "/v1/instruments/{instrument}/label.pdf",
		Summary: "The label of an instrument, 62 mm by 29 mm, after its latest check", Security: read, Responses: asPDF()}, handle(s, s.printLabel))
}

// asPDF documents an answer that is a document.
func asPDF() map[string]*huma.Response {
	return map[string]*huma.Response{strconv.Itoa(http.StatusOK): {Description: "OK",
		Content: map[string]*huma.MediaType{"application/pdf": {Schema: &huma.Schema{Type: huma.TypeString, Format: "binary"}}}}}
}

// documentAnswer is a document.
type documentAnswer struct {
	ContentType string `header:"Content-Type"`
	Disposition string `header:"Content-Disposition"`
	Body        []byte
}

func pdf(name string, b []byte, err error) (*documentAnswer, error) {
	if err != nil {
		return nil, err
	}
	return &documentAnswer{"application/pdf", mime.FormatMediaType("inline", map[string]string{"filename": name + ".pdf"}), b}, nil
}

// linkOf is what QR codes say of an instrument: a name of our own making, which
// is the same in every installation and leads nowhere by itself.
func linkOf(code string) string { return "lastgood:instrument:" + url.PathEscape(code) }

type checkFormAnswer struct{ Body CheckFormBody }

func (s *server) getCheckForm(ctx context.Context, in *InstrumentPath) (*checkFormAnswer, error) {
	f, err := s.svc.CheckForm(ctx, scope(ctx, ""), in.Instrument)
	if err != nil {
		return nil, err
	}
	return &checkFormAnswer{checkFormBody(f)}, nil
}

func (s *server) printCheckForm(ctx context.Context, in *InstrumentPath) (*documentAnswer, error) {
	f, err := s.svc.CheckForm(ctx, scope(ctx, ""), in.Instrument)
	if err != nil {
		return nil, err
	}
	b, err := formOnPaper(f).PDF()
	return pdf("check-"+in.Instrument, b, err)
}

func checkFormBody(f workflow.CheckForm) CheckFormBody {
	in := f.Instrument
	b := CheckFormBody{Instrument: in.Code, Description: in.Description, Unit: in.Unit.String(), Tolerance: Degrees(in.Tolerance),
		Resolution: exact(in.Resolution), RangeLow: exact(in.RangeLow), RangeHigh: exact(in.RangeHigh), Adjustable: in.Adjustable,
		DueOn: dateOr(f.Due.On), Overdue: f.Due.Overdue, AltitudeM: f.AltitudeM, Limits: []FormLimitBody{}, Points: []FormPointBody{},
		References: []FormReferenceBody{}, Notes: append([]string{}, f.Notes...), MadeAt: clock(f.MadeAt)}
	for _, l := range f.Limits {
		b.Limits = append(b.Limits, FormLimitBody{l.Name, l.Text})
	}
	for _, p := range f.Points {
		v := FormPointBody{string(p.Kind), p.Scale.String(), Degrees(p.Expected), p.Basis, []Degrees{}, clockOr(p.LastGoodAt), p.Fields}
		for _, c := range p.Covers {
			v.Covers = append(v.Covers, Degrees(c))
		}
		b.Points = append(b.Points, v)
	}
	for _, r := range f.References {
		b.References = append(b.References, formReferenceBody(r))
	}
	return b
}

func formReferenceBody(r workflow.FormReference) FormReferenceBody {
	v := FormReferenceBody{Reference: r.Code, Description: r.Description, Certificate: orNull(r.Certificate), ValidUntil: clockOr(r.ValidUntil),
		Unit: r.Scale.String(), Points: append([]int{}, r.Reaches...), WhyNot: orNull(r.WhyNot)}
	if r.Certificate != "" {
		v.From, v.To = exact(&r.From), exact(&r.To)
	}
	return v
}

// onDay is a day where the plant is.
func onDay(t time.Time, zone *time.Location) string { return t.In(zone).Format(time.DateOnly) }

// degrees writes a temperature for people: at most two decimals.
func degrees(m unit.Micro, s unit.Scale) string {
	return twoDecimals(m.Degrees()) + " " + sign(s)
}

// difference writes an error for people, with its sign.
func difference(m unit.Micro, s unit.Scale) string {
	text := degrees(m, s)
	if m > 0 {
		return "+" + text
	}
	return text
}

func sign(s unit.Scale) string {
	if s == unit.KelvinScale {
		return "K"
	}
	return "°" + s.String()
}
