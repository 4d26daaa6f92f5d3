package api

import (
	"context"
	"net/http"
	"net/url"
	"strconv"
	"strings"
	"time"

	"github.com/danielgtaylor/huma/v2"

	"lastgood/api/exchange"
	"lastgood/policy/limit"
	"lastgood/policy/metrology"
	"lastgood/policy/unit"
	"lastgood/workflow"
	"lastgood/workflow/key"
)

// BasisBody is an assessment with everything that it can be recomputed from by
// hand.
type BasisBody struct {
	Deviation    int64                     `json:"deviation"`
	Run          int                       `json:"run"`
	Caution      string                    `json:"caution"`
	SameEvidence bool                      `json:"same_evidence" doc:"false: something arrived since the run, and the readings below include it"`
	Window       exchange.WindowResult     `json:"window"`
	Error        exchange.ErrorResult      `json:"error"`
	Formulas     []string                  `json:"formulas"`
	Assessment   exchange.AssessmentResult `json:"assessment"`
	Readings     []BasisReading            `json:"readings"`
	NextCursor   *string                   `json:"next_cursor" doc:"null on the last page of the readings"`
}

// BasisReading is one reading as it was recorded and as it was judged. Errors
// are in K; corrected, worst and best are on the scale of the limit; null where
// nothing can be said.
type BasisReading struct {
	TakenAt     string   `json:"taken_at" doc:"As the instrument's clock showed it"`
	ShiftedAt   *string  `json:"shifted_at" doc:"The true time, by which it is judged; null: as it was taken"`
	Quarantined *string  `json:"quarantined" doc:"Why it is not believed and counts as a gap; null: it is"`
	Value       float64  `json:"value" doc:"as recorded"`
	Unit        string   `json:"unit"`
	Standing    string   `json:"standing" enum:"trusted,known,unknown" doc:"trusted: not in doubt; known: its error has a bracket; unknown: nothing bounds it"`
	ErrorLow    *float64 `json:"error_low"`
	ErrorFound  *float64 `json:"error_found"`
	ErrorHigh   *float64 `json:"error_high"`
	Recorded    *float64 `json:"recorded" doc:"value on the scale of the limit"`
	Corrected   *float64 `json:"corrected" doc:"with the error as found taken out"`
	Worst       *float64 `json:"worst" doc:"at the harmful end of the bracket"`
	Best        *float64 `json:"best"`
}

type basisAnswer struct {
	Link string `header:"Link"`
	Body BasisBody
}

func (s *server) registerAssessments(api huma.API) {
	huma.Register(api, huma.Operation{OperationID: "get-assessment", Method: http.MethodGet, Path: "/v1/deviations/{id}/assessment",
		Summary: "One lot under one limit: formula, inputs, intermediate values", Security: needs(key.DeviationsRead)}, handle(s, s.getAssessment))
}

func (s *server) getAssessment(ctx context.Context, in *struct {
	DeviationPath
	Paging
	Lot  string `query:"lot" required:"true" maxLength:"100"`
	Name string `query:"under" maxLength:"100" doc:"The limit; left out where none applied"`
}) (*basisAnswer, error) {
	from, err := in.afterNumber()
	if err != nil {
		return nil, err
	}
	b, err := s.svc.Basis(ctx, scope(ctx, ""), workflow.DeviationID(in.ID), in.Lot, in.Name)
	if err != nil {
		return nil, err
	}
	rest := b.Readings[min(max(0, from), int64(len(b.Readings))):]
	items := make([]BasisReading, min(len(rest), in.Limit+1))
	for i := range items {
		items[i] = basisReading(rest[i])
	}
	query := url.Values{"lot": {in.Lot}}
	if in.Name != "" {
		query.Set("under", in.Name)
	}
	path := "/v1/deviations/" + strconv.FormatInt(in.ID, 10) + "/assessment"
	p := page(items, in.Paging, path, query, func(BasisReading) string { return strconv.FormatInt(from+int64(in.Limit), 10) })
	out := &basisAnswer{Link: p.Link, Body: basisBody(in.ID, b)}
	out.Body.Readings, out.Body.NextCursor = p.Body.Items, p.Body.NextCursor
	return out, nil
}

// basisBody is everything but the readings.
func basisBody(id int64, b workflow.Basis) BasisBody {
	b.Run.Assessments = []workflow.Assessment{b.Assessment}
	d := exchange.NewResult("", time.UTC, []workflow.Report{{Run: b.Run}}).Deviations[0]
	out := BasisBody{Deviation: id, Run: b.Run.Number, Caution: exchange.Caution, SameEvidence: b.SameEvidence, Window: d.Window,
		Error: d.Error, Formulas: []string{}, Assessment: d.Assessments[0]}
	_, kind, _ := strings.Cut(b.Assessment.Result.Method, "/") // limit/at_least@1
	kind, _, _ = strings.Cut(kind, "@")
	out.Formulas = append(append(out.Formulas, limit.Formulas(kind)...),
		"score = 100 × "+strings.Join(factorNames(out.Assessment), " × ")+", rounded to a whole number")
	return out
}

func factorNames(a exchange.AssessmentResult) []string {
	names := make([]string, len(a.Factors))
	for i, f := range a.Factors {
		names[i] = f.Name
	}
	return names
}

var standings = map[metrology.Standing]string{metrology.Trusted: "trusted", metrology.Known: "known", metrology.Unknown: "unknown"}

func basisReading(r workflow.BasisReading) BasisReading {
	out := BasisReading{TakenAt: clock(time.UnixMicro(r.Shown)), Value: r.Value, Unit: r.Unit.String(), Standing: standings[r.Standing],
		Recorded: onScale(r.Recorded), Corrected: onScale(r.Corrected), Worst: onScale(r.Worst), Best: onScale(r.Best)}
	if r.Shown != r.At {
		at := clock(time.UnixMicro(r.At))
		out.ShiftedAt = &at
	}
	if r.Void != "" {
		out.Quarantined = &r.Void
	}
	if r.Standing == metrology.Known {
		low, found, high := float64(r.Error.Lo), float64(r.Error.Found), float64(r.Error.Hi)
		out.ErrorLow, out.ErrorFound, out.ErrorHigh = &low, &found, &high
	}
	return out
}

func onScale(m unit.Micro) *float64 {
	if m == unit.Unknown {
		return nil
	}
	d := m.Degrees()
	return &d
}
