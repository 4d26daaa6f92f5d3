package api

import (
	"context"
	"fmt"
	"time"

	"lastgood/workflow"
	"lastgood/workflow/pg"
)

func (s *server) drawUpRecall(ctx context.Context, in *struct {
	DeviationPath
	Write
	Body RecallPackBody
}) (*toSign, error) {
	r, err := s.svc.DrawUpRecall(ctx, scope(ctx, in.IdempotencyKey), workflow.DeviationID(in.ID), in.Body.pack())
	if err != nil {
		return nil, err
	}
	return &toSign{recordHead(r)}, nil
}

func (s *server) writeRecallText(ctx context.Context, in *struct {
	DeviationPath
	Write
	Body struct {
		Text string `json:"text" minLength:"1" maxLength:"100000"`
	}
}) (*recallAnswer, error) {
	return recalled(s.svc.WriteRecallText(ctx, scope(ctx, in.IdempotencyKey), workflow.DeviationID(in.ID), in.Body.Text))
}

// ToldConsigneeBody is that a consignee was told.
type ToldConsigneeBody struct {
	Consignee string `json:"consignee" maxLength:"300"`
	Version   int    `json:"text_version" minimum:"1"`
	Method    string `json:"method" maxLength:"100"`
	Whom      string `json:"whom" maxLength:"300" doc:"Who was told there"`
	Person    string `json:"person" maxLength:"200" doc:"Who told them"`
	At        string `json:"at"`
}

func (s *server) tellConsignees(ctx context.Context, in *struct {
	DeviationPath
	Write
	Body struct {
		Items []ToldConsigneeBody `json:"items" minItems:"1" maxItems:"1000"`
	}
}) (*recallAnswer, error) {
	list := make([]workflow.NewConsigneeNotice, len(in.Body.Items))
	for i, n := range in.Body.Items {
		at, err := itemTime(n.At, i)
		if err != nil {
			return nil, err
		}
		list[i] = workflow.NewConsigneeNotice{Consignee: n.Consignee, Version: n.Version, Method: n.Method, Whom: n.Whom, Person: n.Person, At: at}
	}
	return recalled(s.svc.TellConsignees(ctx, scope(ctx, in.IdempotencyKey), workflow.DeviationID(in.ID), list))
}

func itemTime(text string, i int) (time.Time, error) {
	return timeOr(text, fmt.Sprintf("body.items[%d].at", i), time.Time{})
}

// ConsigneeAnswerBody is what a consignee says of one shipment.
type ConsigneeAnswerBody struct {
	Lot       string `json:"lot" maxLength:"100"`
	Shipment  string `json:"shipment" maxLength:"100"`
	OnHand    string `json:"on_hand" maxLength:"30"`
	Returned  string `json:"returned" maxLength:"30"`
	Destroyed string `json:"destroyed" maxLength:"30"`
	SoldOn    string `json:"sold_on" maxLength:"30"`
	Unit      string `json:"quantity_unit" minLength:"1" maxLength:"20"`
	Person    string `json:"person" maxLength:"200" doc:"Who answered there"`
	At        string `json:"at"`
}

func (s *server) consigneesAnswered(ctx context.Context, in *struct {
	DeviationPath
	Write
	Body struct {
		Items []ConsigneeAnswerBody `json:"items" minItems:"1" maxItems:"1000"`
	}
}) (*recallAnswer, error) {
	list := make([]workflow.NewResponse, len(in.Body.Items))
	for i, n := range in.Body.Items {
		at, err := itemTime(n.At, i)
		if err != nil {
			return nil, err
		}
		list[i] = workflow.NewResponse{Lot: n.Lot, Shipment: n.Shipment, OnHand: n.OnHand, Returned: n.Returned, Destroyed: n.Destroyed, SoldOn: n.SoldOn,
			Unit: n.Unit, Person: n.Person, At: at}
	}
	return recalled(s.svc.ConsigneesAnswered(ctx, scope(ctx, in.IdempotencyKey), workflow.DeviationID(in.ID), list))
}

func (s *server) drawRecallSample(ctx context.Context, in *struct {
	DeviationPath
	Write
	Body struct {
		Seed *int64 `json:"seed,omitempty" minimum:"0" maximum:"9007199254740991" doc:"Left out: one is taken at random"`
	}
}) (*recallAnswer, error) {
	return recalled(s.svc.DrawRecallSample(ctx, scope(ctx, in.IdempotencyKey), workflow.DeviationID(in.ID), in.Body.Seed))
}

// ConsigneeCheckBody is a check of whether a consignee did what it was asked.
type ConsigneeCheckBody struct {
	Consignee string `json:"consignee" maxLength:"300"`
	Passed    bool   `json:"passed"`
	Method    string `json:"method" maxLength:"100"`
	Person    string `json:"person" maxLength:"200" doc:"Who checked"`
	Note      string `json:"note,omitempty" maxLength:"4000"`
	At        string `json:"at"`
}

func (s *server) checkConsignees(ctx context.Context, in *struct {
	DeviationPath
	Write
	Body struct {
		Items []ConsigneeCheckBody `json:"items" minItems:"1" maxItems:"1000"`
	}
}) (*recallAnswer, error) {
	list := make([]workflow.NewEffectivenessCheck, len(in.Body.Items))
	for i, n := range in.Body.Items {
		at, err := itemTime(n.At, i)
		if err != nil {
			return nil, err
		}
		list[i] = workflow.NewEffectivenessCheck{Consignee: n.Consignee, Passed: n.Passed, Method: n.Method, Person: n.Person, Note: n.Note, At: at}
	}
	return recalled(s.svc.CheckConsignees(ctx, scope(ctx, in.IdempotencyKey), workflow.DeviationID(in.ID), list))
}

func (s *server) reportRecallStatus(ctx context.Context, in *struct {
	DeviationPath
	Write
	Body struct {
		SentTo     string `json:"sent_to" maxLength:"300"`
		Reference  string `json:"reference,omitempty" maxLength:"300"`
		Completion string `json:"estimated_completion" maxLength:"300"`
		NextDays   int    `json:"next_in_days,omitempty" minimum:"14" maximum:"28" doc:"Left out: 14"`
		At         string `json:"at"`
	}
}) (*recallAnswer, error) {
	b := in.Body
	at, err := timeOr(b.At, "body.at", time.Time{})
	if err != nil {
		return nil, err
	}
	return recalled(s.svc.ReportRecallStatus(ctx, scope(ctx, in.IdempotencyKey), workflow.DeviationID(in.ID),
		workflow.NewStatusReport{SentTo: b.SentTo, Reference: b.Reference, Completion: b.Completion, NextDays: b.NextDays, At: at}))
}

// RecallLetterInput is a letter of the agency, or to it.
type RecallLetterInput struct {
	DeviationPath
	Write
	Body struct {
		Class     string `json:"class,omitempty" enum:"I,II,III" doc:"As the agency says it; of a class only"`
		Reference string `json:"reference" maxLength:"300"`
		At        string `json:"at"`
		Text      string `json:"text,omitempty" maxLength:"100000"`
		Refused   bool   `json:"refused,omitempty" doc:"Of a termination: the agency does not end it yet"`
	}
}

// letterOf makes a handler of a command that records a letter.
func letterOf(s *server, record func(context.Context, pg.Scope, workflow.DeviationID, workflow.NewLetter) (workflow.RecallDesk, error)) func(context.Context, *RecallLetterInput) (*recallAnswer, error) {
	return func(ctx context.Context, in *RecallLetterInput) (*recallAnswer, error) {
		at, err := timeOr(in.Body.At, "body.at", time.Time{})
		if err != nil {
			return nil, err
		}
		return recalled(record(ctx, scope(ctx, in.IdempotencyKey), workflow.DeviationID(in.ID),
			workflow.NewLetter{Class: in.Body.Class, Reference: in.Body.Reference, At: at, Text: in.Body.Text, Refused: in.Body.Refused}))
	}
}
