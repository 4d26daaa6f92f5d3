package pg

import (
	"context"
	"database/sql"
	"errors"

	"github.com/lib/pq"

	"lastgood/workflow/fault"
)

// broken says what a broken constraint means to a person. Constraints are named
// after the rule they keep; those that are not here are our own mistakes.
var broken = map[string]fault.Error{
	"plant_name":              {Kind: fault.Conflict, Rule: "duplicate", Detail: "a plant of this name exists"},
	"instrument_code":         {Kind: fault.Conflict, Rule: "duplicate", Detail: "an instrument of this number exists"},
	"check_once":              {Kind: fault.Conflict, Rule: "conflict", Detail: "a check of this instrument at this time is recorded already"},
	"instrument_event_once":   {Kind: fault.Conflict, Rule: "duplicate", Detail: "this event is recorded already"},
	"reading_pkey":            {Kind: fault.Conflict, Rule: "conflict", Detail: "a reading of this instrument, time and source is recorded already"},
	"reading_quarantine_pkey": {Kind: fault.Conflict, Rule: "conflict", Detail: "a reading of this instrument, time and source is in quarantine already"},
	"ingest_batch_key":        {Kind: fault.Conflict, Rule: "batch-chunk-reused", Detail: "this chunk of the batch is being taken in already"},
	"reading_month":           {Kind: fault.Invalid, Rule: "out-of-range", Detail: "the reading's month lies before 1990 or in the future"},
	"stay_order":              {Kind: fault.Invalid, Rule: "out-of-range", Detail: "the stay ends before it begins"},
	"mounting_order":          {Kind: fault.Invalid, Rule: "out-of-range", Detail: "the mounting ends before it begins"},
	"lot_made_order":          {Kind: fault.Invalid, Rule: "out-of-range", Detail: "the making of the lot ends before it begins"},
	"append_only":             {Kind: fault.Refused, Rule: "append-only", Detail: "a record is corrected by a new one, never changed"},
}

// translate turns a driver's error into a fault: the driver's words stay inside
// as the cause.
func translate(ctx context.Context, err error) error {
	var e *pq.Error
	switch {
	case err == nil:
		return nil
	case ctx.Err() != nil:
		return ctx.Err()
	case errors.Is(err, sql.ErrNoRows):
		return &fault.Error{Kind: fault.NotFound, Rule: "not-found", Detail: "there is no such thing", Err: err}
	case unreachable(err):
		return &fault.Error{Kind: fault.Busy, Rule: "busy", Detail: "the database cannot be reached just now", Err: err}
	case !errors.As(err, &e):
		return err
	}
	if f := unfit(err); f != nil {
		return f
	}
	if f, ok := broken[e.Constraint]; ok {
		f.Err = err
		return &f
	}
	return err
}
