-- Thermometers, their certificates, what happened to them, where they hung, and
-- their checks. Temperatures as written are whole millionths of a degree of the
-- row's unit, so that nothing is lost and limits compare exactly. Safe on live
-- data: makes new things only.

-- +goose Up

create table location (
  plant_id    int not null references plant,
  location_id int generated always as identity,
  code        text not null,
  primary key (plant_id, location_id),
  constraint location_code unique (plant_id, code)
);

create table instrument (
  plant_id         int not null references plant,
  instrument_id    int generated always as identity,
  code             text not null,
  description      text not null,
  kind             text not null,
  role             text not null constraint instrument_role check (role in ('working', 'reference')),
  used_for         text not null constraint instrument_use check (used_for in ('food_safety', 'quality')),
  unit             text not null constraint instrument_unit check (unit in ('C', 'F', 'K')),
  resolution       bigint constraint instrument_resolution_positive check (resolution > 0),
  tolerance        bigint not null constraint instrument_tolerance_positive check (tolerance > 0),
  range_low        bigint,
  range_high       bigint,
  adjustable       boolean not null,
  check_every_days int,
  in_service_from  timestamptz,
  state            text not null default 'in_use'
    constraint instrument_state check (state in ('in_use', 'suspended')),
  version          int not null default 1,
  primary key (plant_id, instrument_id),
  constraint instrument_code unique (plant_id, code)
);

create table certificate (
  plant_id       int not null,
  certificate_id int generated always as identity,
  instrument_id  int not null,
  number         text not null,
  issued_at      timestamptz not null,
  valid_until    timestamptz not null,
  unit           text not null constraint certificate_unit check (unit in ('C', 'F', 'K')),
  primary key (plant_id, certificate_id),
  constraint certificate_number unique (plant_id, instrument_id, number),
  foreign key (plant_id, instrument_id) references instrument (plant_id, instrument_id)
);

create table certificate_point (
  plant_id             int not null,
  certificate_id       int not null,
  at_temperature       bigint not null,
  correction           bigint not null,
  expanded_uncertainty bigint not null constraint certificate_uncertainty check (expanded_uncertainty >= 0),
  primary key (plant_id, certificate_id, at_temperature),
  foreign key (plant_id, certificate_id) references certificate (plant_id, certificate_id)
);

create table instrument_event (
  plant_id      int not null,
  event_id      bigint generated always as identity,
  instrument_id int not null,
  at            timestamptz not null,
  kind          text not null constraint instrument_event_kind check (kind in ('removed_from_use',
    'returned_to_use', 'adjusted', 'repaired', 'dropped', 'battery_changed', 'moved', 'reranged',
    'intermittent', 'other')),
  note          text not null,
  recorded_at   timestamptz not null,
  recorded_by   text not null,
  primary key (plant_id, event_id),
  constraint instrument_event_once unique (plant_id, instrument_id, at, kind),
  foreign key (plant_id, instrument_id) references instrument (plant_id, instrument_id)
);

create table mounting (
  plant_id      int not null,
  mounting_id   bigint generated always as identity,
  instrument_id int not null,
  location_id   int not null,
  mounted_from  timestamptz not null,
  mounted_to    timestamptz constraint mounting_order check (mounted_to >= mounted_from),
  recorded_at   timestamptz not null,
  primary key (plant_id, mounting_id),
  constraint mounting_once unique (plant_id, instrument_id, location_id, mounted_from),
  foreign key (plant_id, instrument_id) references instrument (plant_id, instrument_id),
  foreign key (plant_id, location_id) references location (plant_id, location_id)
);

create table accuracy_check (
  plant_id       int not null,
  check_id       bigint generated always as identity,
  instrument_id  int not null,
  performed_at   timestamptz not null,
  performed_by   text not null,
  verified_by    text not null,
  unusable       boolean not null,
  confirmed      boolean not null,
  left_unknown   boolean not null, -- adjusted then, and nobody wrote down the as-left
  digest         bytea not null,   -- of the check as it came in: the same again is no new check
  found_verdict  text not null constraint check_found_verdict check (found_verdict in ('pass', 'fail', 'inconclusive')),
  left_verdict   text not null constraint check_left_verdict check (left_verdict in ('pass', 'fail', 'inconclusive')),
  policy_version int not null,
  recorded_at    timestamptz not null,
  recorded_by    text not null,
  primary key (plant_id, check_id),
  constraint check_once unique (plant_id, instrument_id, performed_at),
  foreign key (plant_id, instrument_id) references instrument (plant_id, instrument_id),
  foreign key (plant_id, policy_version) references policy_version (plant_id, policy_version)
);

-- What was written down at a point, and the true temperature and standard
-- uncertainty [K] that were made of it, with the sentence that says how.
create table check_point (
  plant_id              int not null,
  check_id              bigint not null,
  ordinal               int not null,
  kind                  text not null constraint check_point_kind check (kind in ('ice', 'boiling', 'comparison')),
  unit                  text not null constraint check_point_unit check (unit in ('C', 'F', 'K')),
  nominal               bigint,
  reference_id          int,
  reference_reading     bigint,
  reference_uncertainty bigint,
  pressure_kpa          double precision constraint check_point_pressure check (pressure_kpa between 30 and 120),
  found                 bigint,
  as_left               bigint,
  true_temperature      bigint not null,
  reference_u           double precision not null constraint check_point_u
    check (reference_u >= 0 and reference_u < 'Infinity'),
  basis                 text not null,
  primary key (plant_id, check_id, ordinal),
  foreign key (plant_id, check_id) references accuracy_check (plant_id, check_id),
  foreign key (plant_id, reference_id) references instrument (plant_id, instrument_id)
);
create index check_point_reference_idx on check_point (plant_id, reference_id) where reference_id is not null;

-- +goose StatementBegin
do $$
declare t text;
begin
  foreach t in array array['location', 'instrument', 'certificate', 'certificate_point',
      'instrument_event', 'mounting', 'accuracy_check', 'check_point'] loop
    call keep_to_plant(t::regclass);
    execute format('grant select, insert on %I to lastgood_application', t);
  end loop;
  foreach t in array array['certificate', 'certificate_point', 'instrument_event', 'accuracy_check', 'check_point'] loop
    call make_append_only(t::regclass);
  end loop;
end $$;
-- +goose StatementEnd
grant update on instrument, mounting to lastgood_application;
