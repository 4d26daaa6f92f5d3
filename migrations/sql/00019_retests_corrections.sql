-- Re-tests of product on hold, from the order to what the results say; the
-- corrective action in its four parts with its evidence; what became of the
-- instrument, of the line and of the plan; the review of the records. Safe on
-- live data: new tables, and a wider list of states of an instrument.

-- +goose Up

alter table instrument
  drop constraint instrument_state,
  add constraint instrument_state check (state in ('in_use', 'suspended', 'retired', 'lost'));

create table retest (
  plant_id     int not null,
  retest_id    bigint generated always as identity,
  deviation_id bigint not null,
  portion_id   bigint not null,
  state        text not null constraint retest_state
    check (state in ('ordered', 'sampled', 'in_laboratory', 'reported', 'decided', 'cancelled')),
  terms        bytea not null, -- the order as it was written: plan, reach, laboratory, custody
  ordered_at   timestamptz not null,
  ordered_by   text not null,
  version      int not null default 1,
  primary key (plant_id, retest_id),
  foreign key (plant_id, deviation_id) references deviation (plant_id, deviation_id),
  foreign key (plant_id, portion_id) references portion (plant_id, portion_id)
);
create index retest_deviation_idx on retest (plant_id, deviation_id);

-- A sample's number is its own in the whole plant: results cannot be mixed up.
create table retest_sample (
  plant_id    int not null,
  retest_id   bigint not null,
  sample      text not null constraint retest_sample_named check (sample <> ''),
  drawn_at    timestamptz not null,
  drawn_by    text not null,
  drawn_from  text not null,
  recorded_at timestamptz not null,
  recorded_by text not null,
  primary key (plant_id, sample),
  foreign key (plant_id, retest_id) references retest (plant_id, retest_id)
);
create index retest_sample_retest_idx on retest_sample (plant_id, retest_id);

create table retest_custody (
  plant_id    int not null,
  custody_id  bigint generated always as identity,
  retest_id   bigint not null,
  kind        text not null constraint retest_custody_kind check (kind in ('handed_over', 'received')),
  at          timestamptz not null,
  who         text not null, -- has them from then on
  reference   text not null, -- the laboratory's, where it received them
  condition   text not null, -- temperature, seals, packing, as it was found
  recorded_at timestamptz not null,
  recorded_by text not null,
  primary key (plant_id, custody_id),
  foreign key (plant_id, retest_id) references retest (plant_id, retest_id)
);
create index retest_custody_retest_idx on retest_custody (plant_id, retest_id);

-- A result is never changed. Another one may replace it, and says so.
create table retest_result (
  plant_id    int not null,
  result_id   bigint generated always as identity,
  retest_id   bigint not null,
  sample      text not null,
  value       double precision not null constraint retest_result_finite
    check (value > '-Infinity' and value < 'Infinity'),
  bound       text not null constraint retest_result_bound check (bound in ('', '<', '>')),
  unit        text not null,
  method      text not null,
  laboratory  text not null,
  report      text not null, -- the laboratory's number of it
  tested_at   timestamptz not null,
  replaces    bigint, -- null: it is the first
  reason      text not null, -- of a replacement; empty: none
  recorded_at timestamptz not null,
  recorded_by text not null,
  primary key (plant_id, result_id),
  constraint retest_result_replaced_once unique (plant_id, replaces),
  constraint retest_result_replacement check ((replaces is null) = (reason = '')),
  foreign key (plant_id, retest_id) references retest (plant_id, retest_id),
  foreign key (plant_id, sample) references retest_sample (plant_id, sample),
  foreign key (plant_id, replaces) references retest_result (plant_id, result_id)
);
create index retest_result_retest_idx on retest_result (plant_id, retest_id);

-- A result that does not count, or an order that is taken back, once its record is
-- signed by everyone.
create table retest_void (
  plant_id  int not null,
  void_id   bigint generated always as identity,
  retest_id bigint not null,
  result_id bigint, -- null: the whole order
  reason    text not null constraint retest_void_reason check (reason <> ''),
  asked_at  timestamptz not null,
  asked_by  text not null,
  signed_at timestamptz,
  signed_by text,
  primary key (plant_id, void_id),
  constraint retest_void_signed check ((signed_at is null) = (signed_by is null)),
  constraint retest_void_once unique nulls not distinct (plant_id, retest_id, result_id),
  foreign key (plant_id, retest_id) references retest (plant_id, retest_id),
  foreign key (plant_id, result_id) references retest_result (plant_id, result_id)
);

-- The newest of a part counts.
create table correction_part (
  plant_id      int not null,
  part_id       bigint generated always as identity,
  deviation_id  bigint not null,
  part          text not null constraint correction_part_known check (part in ('cause', 'control', 'prevention', 'product')),
  wording       text not null,
  open          boolean not null, -- of a cause: not found; of prevention: none is needed
  statement     text not null,    -- why that is so
  plan_failed   boolean not null, -- of a cause: what was planned did not work
  same_as       bigint,           -- of a cause: the deviation that had the same
  effective_by  timestamptz,      -- of prevention: when it is looked at whether it works
  written_at    timestamptz not null,
  written_by    text not null,
  primary key (plant_id, part_id),
  foreign key (plant_id, deviation_id) references deviation (plant_id, deviation_id),
  foreign key (plant_id, same_as) references deviation (plant_id, deviation_id)
);
create index correction_part_deviation_idx on correction_part (plant_id, deviation_id);

-- Whether a preventive measure works.
create table correction_effect (
  plant_id   int not null,
  effect_id  bigint generated always as identity,
  part_id    bigint not null,
  effective  boolean not null,
  wording    text not null,
  looked_at  timestamptz not null,
  written_at timestamptz not null,
  written_by text not null,
  primary key (plant_id, effect_id),
  foreign key (plant_id, part_id) references correction_part (plant_id, part_id)
);
create index correction_effect_part_idx on correction_effect (plant_id, part_id);

-- The papers that a statement rests on.
create table statement_paper (
  plant_id int not null,
  kind     text not null constraint statement_paper_kind check (kind in ('part', 'effect', 'line')),
  of_id    bigint not null,
  ordinal  int not null,
  name     text not null,
  digest   bytea not null,
  primary key (plant_id, kind, of_id, ordinal),
  foreign key (plant_id, digest) references evidence (plant_id, digest)
);

create table line_event (
  plant_id      int not null,
  line_event_id bigint generated always as identity,
  deviation_id  bigint not null,
  event         text not null constraint line_event_known check (event in ('stop', 'run_on_backup', 'restore')),
  at            timestamptz not null,
  instrument_id int,         -- that the line is read with from then on; null: it stands
  check_id      bigint,      -- the last one, that it passed
  reading_at    timestamptz, -- the good one
  note          text not null,
  recorded_at   timestamptz not null,
  recorded_by   text not null,
  primary key (plant_id, line_event_id),
  constraint line_event_shown check ((event = 'stop') = (instrument_id is null) and (instrument_id is null) = (check_id is null)
    and (instrument_id is null) = (reading_at is null)),
  foreign key (plant_id, deviation_id) references deviation (plant_id, deviation_id),
  foreign key (plant_id, instrument_id) references instrument (plant_id, instrument_id),
  foreign key (plant_id, check_id) references accuracy_check (plant_id, check_id)
);
create index line_event_deviation_idx on line_event (plant_id, deviation_id);

-- The newest counts, once it is signed.
create table reanalysis (
  plant_id      int not null,
  reanalysis_id bigint generated always as identity,
  deviation_id  bigint not null,
  outcome       text not null,
  plan_changes  boolean not null,
  plan_version  text not null, -- as the plant calls it; empty: the plan stays
  written_at    timestamptz not null,
  written_by    text not null,
  primary key (plant_id, reanalysis_id),
  foreign key (plant_id, deviation_id) references deviation (plant_id, deviation_id)
);
create index reanalysis_deviation_idx on reanalysis (plant_id, deviation_id);

-- What an instrument was put back into use on, once its record is signed.
create table instrument_return (
  plant_id      int not null,
  return_id     bigint generated always as identity,
  instrument_id int not null,
  deviation_id  bigint not null,
  check_id      bigint not null,
  reason        text not null,
  asked_at      timestamptz not null,
  asked_by      text not null,
  primary key (plant_id, return_id),
  constraint instrument_return_once unique (plant_id, instrument_id, check_id),
  foreign key (plant_id, instrument_id) references instrument (plant_id, instrument_id),
  foreign key (plant_id, deviation_id) references deviation (plant_id, deviation_id),
  foreign key (plant_id, check_id) references accuracy_check (plant_id, check_id)
);

-- What became of an instrument that was suspended, or that the plant did without.
create table instrument_outcome (
  plant_id      int not null,
  outcome_id    bigint generated always as identity,
  instrument_id int not null,
  outcome       text not null constraint instrument_outcome_known check (outcome in ('returned', 'retired', 'lost')),
  check_id      bigint, -- of a return
  reason        text not null,
  at            timestamptz not null,
  by            text not null,
  primary key (plant_id, outcome_id),
  constraint instrument_outcome_check check ((outcome = 'returned') = (check_id is not null)),
  foreign key (plant_id, instrument_id) references instrument (plant_id, instrument_id),
  foreign key (plant_id, check_id) references accuracy_check (plant_id, check_id)
);
create index instrument_outcome_instrument_idx on instrument_outcome (plant_id, instrument_id);

-- +goose StatementBegin
do $$
declare t text;
begin
  foreach t in array array['retest', 'retest_sample', 'retest_custody', 'retest_result', 'retest_void', 'correction_part',
      'correction_effect', 'statement_paper', 'line_event', 'reanalysis', 'instrument_return', 'instrument_outcome'] loop
    call keep_to_plant(t::regclass);
    execute format('grant select, insert on %I to lastgood_application', t);
  end loop;
  foreach t in array array['retest_sample', 'retest_custody', 'retest_result', 'correction_part', 'correction_effect',
      'statement_paper', 'line_event', 'reanalysis', 'instrument_return', 'instrument_outcome'] loop
    call make_append_only(t::regclass);
  end loop;
end $$;
-- +goose StatementEnd
grant update (state, version) on retest to lastgood_application;
grant update (reason, asked_at, asked_by, signed_at, signed_by) on retest_void to lastgood_application;
