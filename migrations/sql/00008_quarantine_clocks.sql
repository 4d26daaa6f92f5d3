-- What becomes of implausible readings, by how much recorders' clocks were
-- wrong, how often a check point was repeated, and how a certificate is read
-- between its points. Safe on live data: new tables, and new columns that the
-- previous release leaves empty; numbering the quarantine rewrites a table that
-- was empty until now.

-- +goose Up

alter table reading_quarantine
  add column quarantine_id bigint generated always as identity,
  add column rule text not null default 'implausible',
  add constraint reading_quarantine_id unique (plant_id, quarantine_id);

-- What a person made of a quarantined reading, once: a reading after all, or
-- none, which leaves the gap. Whoever has second thoughts corrects the reading.
create table reading_resolution (
  plant_id      int not null,
  quarantine_id bigint not null,
  verdict       text not null constraint reading_resolution_verdict check (verdict in ('accepted', 'rejected')),
  reason        text not null constraint reading_resolution_reason check (reason <> ''),
  decided_by    text not null constraint reading_resolution_decided_by check (decided_by <> ''),
  recorded_at   timestamptz not null,
  recorded_by   text not null,
  primary key (plant_id, quarantine_id),
  foreign key (plant_id, quarantine_id) references reading_quarantine (plant_id, quarantine_id)
);

-- For which times of its own an instrument's clock was wrong: by so much, by an
-- unknown time within a bound, or by so much give or take the bound.
create table clock_offset (
  plant_id        int not null,
  clock_offset_id bigint generated always as identity,
  instrument_id   int not null,
  shown_from      timestamptz not null, -- as the clock showed it
  shown_to        timestamptz constraint clock_offset_order check (shown_to >= shown_from), -- null: still
  ahead_us        bigint, -- shown minus true; null: unknown
  bound_us        bigint not null constraint clock_offset_bound check (bound_us >= 0),
  note            text not null,
  recorded_at     timestamptz not null,
  recorded_by     text not null,
  primary key (plant_id, clock_offset_id),
  constraint clock_offset_once unique (plant_id, instrument_id, shown_from),
  constraint clock_offset_says_something check (ahead_us is not null or bound_us > 0),
  foreign key (plant_id, instrument_id) references instrument (plant_id, instrument_id)
);

alter table check_point
  add column repeats int constraint check_point_repeats check (repeats between 2 and 1000),
  -- of reference_u; null: so many that it makes no difference
  add column reference_dof double precision constraint check_point_dof check (reference_dof > 0 and reference_dof < 'Infinity'),
  add column spread  bigint constraint check_point_spread check (spread >= 0),
  add constraint check_point_repeated check ((repeats is null) = (spread is null));

alter table certificate
  add column fit text not null default 'points' constraint certificate_fit check (fit in ('points', 'line'));

-- +goose StatementBegin
do $$
declare t text;
begin
  foreach t in array array['reading_resolution', 'clock_offset'] loop
    call keep_to_plant(t::regclass);
    execute format('grant select, insert on %I to lastgood_application', t);
  end loop;
  call make_append_only('reading_resolution');
end $$;
-- +goose StatementEnd
grant update on clock_offset to lastgood_application;
