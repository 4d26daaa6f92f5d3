-- The case that a failed check opens: its state, its window, the holds, every
-- trace run and every assessment. Runs and assessments are records. Safe on
-- live data: makes new things only.

-- +goose Up

create table deviation (
  plant_id       int not null references plant,
  deviation_id   bigint generated always as identity,
  instrument_id  int not null,
  check_id       bigint, -- the check that opened it, or
  event_id       bigint, -- the adjustment that nobody took an as-found for
  state          text not null constraint deviation_state
    check (state in ('detected', 'contained', 'traced', 'evaluating')),
  failed_at      timestamptz not null,
  opened_at      timestamptz not null,
  retrace_due    timestamptz, -- since when something newer than the last run is known
  evidence_count bigint not null default 0, -- raised by everything that makes a new run due
  evaluator      text,
  policy_version int not null,
  version        int not null default 1,
  primary key (plant_id, deviation_id),
  constraint deviation_once unique (plant_id, check_id),
  constraint deviation_once_an_event unique (plant_id, event_id),
  constraint deviation_opened_by check (num_nonnulls(check_id, event_id) = 1),
  constraint deviation_evaluator check ((state = 'evaluating') <= (evaluator is not null)),
  foreign key (plant_id, instrument_id) references instrument (plant_id, instrument_id),
  foreign key (plant_id, check_id) references accuracy_check (plant_id, check_id),
  foreign key (plant_id, event_id) references instrument_event (plant_id, event_id),
  foreign key (plant_id, policy_version) references policy_version (plant_id, policy_version)
);

-- The suspect window, the longest over all temperatures. An empty lower bound:
-- no last good check. An empty upper bound: still in use.
create table deviation_window (
  plant_id      int not null,
  deviation_id  bigint not null,
  instrument_id int not null,
  span          tstzrange not null,
  primary key (plant_id, deviation_id),
  foreign key (plant_id, deviation_id) references deviation (plant_id, deviation_id)
);
create index deviation_window_span_idx on deviation_window (plant_id, instrument_id, lower(span));

-- The lots in doubt, with those made of them, found as widely as containment
-- looks: never fewer than a trace finds.
create table deviation_lot (
  plant_id          int not null,
  deviation_id      bigint not null,
  lot_id            bigint not null,
  because_of_lot_id bigint not null,
  primary key (plant_id, deviation_id, lot_id),
  foreign key (plant_id, deviation_id) references deviation (plant_id, deviation_id),
  foreign key (plant_id, lot_id) references lot (plant_id, lot_id),
  foreign key (plant_id, because_of_lot_id) references lot (plant_id, lot_id)
);
create index deviation_lot_lot_idx on deviation_lot (plant_id, lot_id);

create table hold (
  plant_id           int not null,
  hold_id            bigint generated always as identity,
  portion_id         bigint not null,
  deviation_id       bigint not null,
  because_of_lot_id  bigint not null,
  quantity           numeric constraint hold_quantity_not_negative check (quantity >= 0), -- null: unknown
  quantity_unit      text,
  location_id        int,
  placed_at          timestamptz not null,
  placed_by          text not null,
  acknowledged_at    timestamptz,
  acknowledged_by    text,
  counted_quantity   numeric constraint hold_count_not_negative check (counted_quantity >= 0),
  lifted_at          timestamptz,
  lifted_by          text,
  version            int not null default 1,
  primary key (plant_id, hold_id),
  constraint hold_once unique (plant_id, deviation_id, portion_id),
  constraint hold_acknowledged check ((acknowledged_at is null) = (acknowledged_by is null)),
  constraint hold_lifted check ((lifted_at is null) = (lifted_by is null)),
  foreign key (plant_id, portion_id) references portion (plant_id, portion_id),
  foreign key (plant_id, deviation_id) references deviation (plant_id, deviation_id),
  foreign key (plant_id, because_of_lot_id) references lot (plant_id, lot_id)
);
create index hold_portion_idx on hold (plant_id, portion_id) where lifted_at is null;

create table trace_run (
  plant_id       int not null,
  run_id         bigint generated always as identity,
  deviation_id   bigint not null,
  run_number     int not null,
  made_at        timestamptz not null,
  made_by        text not null,
  input_digest   bytea not null,
  policy_version int not null,
  method         text not null,
  readings       bigint not null,
  unmatched      bigint not null,
  body           bytea not null, -- the run as JSON, as it was digested
  primary key (plant_id, run_id),
  constraint trace_run_number unique (plant_id, deviation_id, run_number),
  foreign key (plant_id, deviation_id) references deviation (plant_id, deviation_id),
  foreign key (plant_id, policy_version) references policy_version (plant_id, policy_version)
);

create table assessment (
  plant_id           int not null,
  run_id             bigint not null,
  lot_id             bigint not null,
  limit_name         text not null, -- empty: no limit applies to what the instrument vouched for
  verdict            text not null constraint assessment_verdict
    check (verdict in ('met', 'indeterminate', 'missed', 'unknown')),
  readings           bigint not null,
  headroom           double precision constraint assessment_headroom check (headroom > '-Infinity' and headroom < 'Infinity'),
  worst_error        double precision constraint assessment_worst_error
    check (worst_error > '-Infinity' and worst_error < 'Infinity'),
  probability_missed double precision constraint assessment_probability check (probability_missed between 0 and 1),
  level              int not null constraint assessment_level check (level between 1 and 5),
  score              int not null constraint assessment_score check (score between 0 and 100),
  route              text not null,
  method             text not null,
  body               bytea not null, -- formula, inputs, intermediate values, factors: JSON
  primary key (plant_id, run_id, lot_id, limit_name),
  foreign key (plant_id, run_id) references trace_run (plant_id, run_id),
  foreign key (plant_id, lot_id) references lot (plant_id, lot_id)
);

-- +goose StatementBegin
do $$
declare t text;
begin
  foreach t in array array['deviation', 'deviation_window', 'deviation_lot', 'hold', 'trace_run', 'assessment'] loop
    call keep_to_plant(t::regclass);
    execute format('grant select, insert on %I to lastgood_application', t);
  end loop;
  call make_append_only('trace_run');
  call make_append_only('assessment');
end $$;
-- +goose StatementEnd
grant update on deviation, deviation_window, hold to lastgood_application;
