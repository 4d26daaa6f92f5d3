package api

import (
	"context"
	"encoding/hex"
	"mime"
	"net/http"

	"github.com/danielgtaylor/huma/v2"

	"lastgood/workflow"
	"lastgood/workflow/correct"
	"lastgood/workflow/fault"
	"lastgood/workflow/key"
)

// PaperBody is a paper that a statement rests on; its bytes are under /v1/evidence.
type PaperBody struct {
	Name   string `json:"name"`
	SHA256 string `json:"sha256"`
}

// NewPaperBody is a paper to be attached.
type NewPaperBody struct {
	Name      string `json:"name" minLength:"1" maxLength:"200"`
	MediaType string `json:"media_type" maxLength:"100" doc:"Of the bytes, such as application/pdf"`
	Bytes     []byte `json:"bytes" doc:"Base64; up to 10 MiB before encoding"`
}

// CorrectionBody is the corrective action of a deviation.
type CorrectionBody struct {
	Parts         []PartBody  `json:"parts" doc:"Those that are written, in the order of the law"`
	Line          LineBody    `json:"line"`
	Effect        *EffectBody `json:"effect" doc:"What was seen of the preventive measure; null: nobody has looked"`
	Effectiveness string      `json:"effectiveness" enum:"not_asked,pending,effective,not_effective" doc:"pending: the deviation may be closed, and its preventive measure is on trial until its day"`
	Record        *RecordHead `json:"record" doc:"null: not all is there that is signed"`
}

// PartBody is what was written of one part.
type PartBody struct {
	Part        string      `json:"part" enum:"cause,control,prevention,product"`
	Text        string      `json:"text"`
	Open        bool        `json:"not_found_or_not_needed" doc:"Of a cause: not found. Of prevention: none is needed"`
	Statement   *string     `json:"statement" doc:"Why that is so"`
	PlanFailed  bool        `json:"plan_failed" doc:"Of a cause: what was planned did not work"`
	SameAs      *int64      `json:"same_as" doc:"Of a cause: the deviation that had the same"`
	EffectiveBy *string     `json:"effective_by"`
	Evidence    []PaperBody `json:"evidence"`
	WrittenAt   string      `json:"written_at"`
	WrittenBy   string      `json:"written_by"`
}

// EffectBody is what was seen of a preventive measure.
type EffectBody struct {
	Effective bool        `json:"effective"`
	Text      string      `json:"text"`
	LookedAt  string      `json:"looked_at"`
	Evidence  []PaperBody `json:"evidence"`
	WrittenBy string      `json:"written_by"`
}

// LineBody is where the line at the control point stands.
type LineBody struct {
	State   string          `json:"state" enum:"in_control,stopped,running_on_backup,restored"`
	Events  []LineEventBody `json:"events"`
	Allowed []string        `json:"allowed" doc:"What the procedure has from here"`
}

// LineEventBody is what happened at the control point.
type LineEventBody struct {
	Event      string      `json:"event" enum:"stop,run_on_backup,restore"`
	At         string      `json:"at"`
	Instrument *string     `json:"instrument" doc:"That the line is read with from then on"`
	Check      *int64      `json:"check" doc:"That it passed"`
	ReadingAt  *string     `json:"reading_at"`
	Note       string      `json:"note"`
	Evidence   []PaperBody `json:"evidence"`
	RecordedBy string      `json:"recorded_by"`
}

type correctionAnswer struct{ Body CorrectionBody }

func (s *server) registerCorrections(api huma.API) {
	read, most := needs(key.DeviationsRead), int64(mostEvidence/3*4+1<<16)
	floor := needsPerson(recordsSign) // supervisors and technicians write what they did
	huma.Register(api, huma.Operation{OperationID: "get-correction", Method: http.MethodGet, Path: "/v1/deviations/{id}/correction",
		Summary: "The corrective action in its four parts, with the line", Security: read}, handle(s, s.getCorrection))
	huma.Register(api, huma.Operation{OperationID: "write-correction", Method: http.MethodPost, Path: "/v1/deviations/{id}/correction",
		Summary:       "Write one part; with all four and the line restored it is put up for signing",
		DefaultStatus: http.StatusCreated, Security: floor, MaxBodyBytes: most}, handle(s, s.writeCorrection))
	huma.Register(api, huma.Operation{OperationID: "record-effect", Method: http.MethodPost, Path: "/v1/deviations/{id}/correction/effectiveness",
		Summary:       "Whether the preventive measure works; of one that does not, a closed deviation is opened again",
		DefaultStatus: http.StatusCreated, Security: needsPerson(effectWrite), MaxBodyBytes: most}, handle(s, s.recordEffect))
	huma.Register(api, huma.Operation{OperationID: "record-line", Method: http.MethodPost, Path: "/v1/deviations/{id}/line",
		Summary:       "The line was stopped, runs on a backup, or is restored",
		DefaultStatus: http.StatusCreated, Security: floor, MaxBodyBytes: most}, handle(s, s.recordLine))
	s.registerCorrectionsOfOthers(api)
}

func (s *server) getCorrection(ctx context.Context, in *DeviationPath) (*correctionAnswer, error) {
	return answerCorrection(s.svc.Correction(ctx, scope(ctx, ""), workflow.DeviationID(in.ID)))
}

func (s *server) writeCorrection(ctx context.Context, in *struct {
	DeviationPath
	Write
	Body struct {
		Part        string         `json:"part" enum:"cause,control,prevention,product"`
		Text        string         `json:"text" minLength:"1" maxLength:"10000"`
		Open        bool           `json:"not_found_or_not_needed,omitempty" doc:"Of a cause: not found. Of prevention: none is needed"`
		Statement   string         `json:"statement,omitempty" maxLength:"5000" doc:"Why that is so"`
		PlanFailed  bool           `json:"plan_failed,omitempty" doc:"Of a cause: what was planned did not work"`
		SameAs      *int64         `json:"same_as,omitempty" minimum:"1" doc:"Of a cause: the deviation that had the same"`
		EffectiveBy string         `json:"effective_by,omitempty" doc:"Of prevention: when it is looked at whether it works"`
		Evidence    []NewPaperBody `json:"evidence,omitempty" maxItems:"20"`
	}
}) (*correctionAnswer, error) {
	b := in.Body
	n := workflow.NewPart{Part: correct.Part(b.Part), Text: b.Text, Open: b.Open, Statement: b.Statement, PlanFailed: b.PlanFailed, SameAs: b.SameAs}
	if b.EffectiveBy != "" {
		at, err := timeIn(b.EffectiveBy, "body.effective_by")
		if err != nil {
			return nil, err
		}
		n.EffectiveBy = &at
	}
	var err error
	if n.Evidence, err = newPapers(b.Evidence); err != nil {
		return nil, err
	}
	return answerCorrection(s.svc.WriteCorrection(ctx, scope(ctx, in.IdempotencyKey), workflow.DeviationID(in.ID), n))
}

func (s *server) recordEffect(ctx context.Context, in *struct {
	DeviationPath
	Write
	Body struct {
		Effective bool           `json:"effective"`
		Text      string         `json:"text" minLength:"1" maxLength:"10000"`
		LookedAt  string         `json:"looked_at"`
		Evidence  []NewPaperBody `json:"evidence,omitempty" maxItems:"20"`
	}
}) (*correctionAnswer, error) {
	at, err := timeIn(in.Body.LookedAt, "body.looked_at")
	if err != nil {
		return nil, err
	}
	papers, err := newPapers(in.Body.Evidence)
	if err != nil {
		return nil, err
	}
	n := workflow.NewEffect{Effective: in.Body.Effective, Text: in.Body.Text, LookedAt: at, Evidence: papers}
	return answerCorrection(s.svc.RecordEffect(ctx, scope(ctx, in.IdempotencyKey), workflow.DeviationID(in.ID), n))
}

func (s *server) recordLine(ctx context.Context, in *struct {
	DeviationPath
	Write
	Body struct {
		Event      string         `json:"event" enum:"stop,run_on_backup,restore"`
		At         string         `json:"at"`
		Instrument string         `json:"instrument,omitempty" maxLength:"100" doc:"That the line is read with from then on"`
		ReadingAt  string         `json:"reading_at,omitempty" doc:"When it read what shows control, after the failure"`
		Note       string         `json:"note" minLength:"1" maxLength:"5000"`
		Evidence   []NewPaperBody `json:"evidence,omitempty" maxItems:"20"`
	}
}) (*struct{ Body LineBody }, error) {
	b := in.Body
	n := workflow.NewLineEvent{Event: workflow.Event(b.Event), Instrument: b.Instrument, Note: b.Note}
	var err error
	if n.At, err = timeIn(b.At, "body.at"); err != nil {
		return nil, err
	}
	if b.ReadingAt != "" {
		at, err := timeIn(b.ReadingAt, "body.reading_at")
		if err != nil {
			return nil, err
		}
		n.ReadingAt = &at
	}
	if n.Evidence, err = newPapers(b.Evidence); err != nil {
		return nil, err
	}
	l, err := s.svc.RecordLine(ctx, scope(ctx, in.IdempotencyKey), workflow.DeviationID(in.ID), n)
	if err != nil {
		return nil, err
	}
	return &struct{ Body LineBody }{lineBody(l)}, nil
}

func newPapers(list []NewPaperBody) ([]workflow.NewPaper, error) {
	var out []workflow.NewPaper
	for _, p := range list {
		if _, _, err := mime.ParseMediaType(p.MediaType); err != nil {
			return nil, fault.New(fault.Invalid, "media-type", "say what the bytes are, such as application/pdf").In("body.evidence.media_type")
		}
		out = append(out, workflow.NewPaper(p))
	}
	return out, nil
}

func paperBodies(list []correct.Paper) []PaperBody {
	out := []PaperBody{}
	for _, p := range list {
		out = append(out, PaperBody{p.Name, hex.EncodeToString(p.Digest)})
	}
	return out
}

func lineBody(l workflow.LineStanding) LineBody {
	b := LineBody{State: string(l.State), Events: []LineEventBody{}, Allowed: []string{}}
	for _, e := range l.Events {
		b.Events = append(b.Events, LineEventBody{e.Event, clock(e.At), e.Code, e.Check, clockOr(e.ReadingAt), e.Note, paperBodies(e.Papers), e.By})
	}
	for _, e := range l.Allowed {
		b.Allowed = append(b.Allowed, string(e))
	}
	return b
}

func answerCorrection(c workflow.Correction, err error) (*correctionAnswer, error) {
	if err != nil {
		return nil, err
	}
	b := CorrectionBody{Parts: []PartBody{}, Line: lineBody(c.Line), Effectiveness: "not_asked"}
	for _, part := range correct.Parts {
		w, ok := c.Parts[part]
		if !ok {
			continue
		}
		b.Parts = append(b.Parts, PartBody{string(part), w.Text, w.Open, orNull(w.Statement), w.PlanFailed, w.SameAs, clockOr(w.EffectiveBy), paperBodies(w.Papers), clock(w.At), w.By})
		if w.EffectiveBy != nil {
			b.Effectiveness = "pending"
		}
	}
	if e := c.Effect; e != nil {
		b.Effect = &EffectBody{e.Effective, e.Text, clock(e.LookedAt), paperBodies(e.Papers), e.By}
		if b.Effectiveness = "not_effective"; e.Effective {
			b.Effectiveness = "effective"
		}
	}
	if c.Record != nil {
		h := recordHead(*c.Record)
		b.Record = &h
	}
	return &correctionAnswer{b}, nil
}
