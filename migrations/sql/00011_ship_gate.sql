-- Questions to the ship gate with their answers, as they were given; holds that
-- somebody placed by hand; and what became of a hold: product that moved all the
-- same, or that the gate had just allowed to be loaded. Safe on live data: a new
-- table, and new columns that the previous release leaves empty.

-- +goose Up

-- One row a call. Written in the transaction that decides, so that a deviation
-- that opens later finds what was allowed just before.
create table ship_question (
  plant_id    int not null references plant,
  question_id bigint generated always as identity,
  asked_at    timestamptz not null,
  valid_until timestamptz not null constraint ship_question_order check (valid_until > asked_at),
  asked_by    text not null constraint ship_question_asked_by check (asked_by <> ''),
  shipment    text not null, -- empty: not said
  consignee   text not null, -- empty: not said
  epoch       bigint not null, -- of the plant's deviations, as the answer saw them
  refused     int not null constraint ship_question_refused check (refused >= 0), -- items
  allowed     bigint[] not null, -- lots of the items that may ship
  body        bytea not null, -- items, answers and reasons: JSON
  primary key (plant_id, question_id)
);
create index ship_question_asked_idx on ship_question (plant_id, asked_at);
call keep_to_plant('ship_question');
call make_append_only('ship_question');
grant select, insert on ship_question to lastgood_application;

alter table hold
  add column reason     text constraint hold_reason check (reason <> ''), -- of a hold placed by hand
  add column moved_at   timestamptz, -- when product left by a shipment recorded while the hold stood
  add column allowed_at timestamptz, -- when the gate last allowed it, if that was still in force
  drop constraint hold_because,
  add constraint hold_because check (num_nonnulls(deviation_id, cascade_id, reason) > 0);
create unique index hold_once_by_hand on hold (plant_id, portion_id, reason) where reason is not null and lifted_at is null;
