-- Readings: by month, in batches, never changed. At most eight columns, the
-- eight-byte ones first: a ninth with a NULL in it would widen every row. No
-- foreign keys and no index but the key: they cost more than the whole insert;
-- ids are checked once a batch. Safe on live data: makes new things only.

-- +goose Up

create table ingest_batch (
  plant_id    int not null references plant,
  batch_id    int generated always as identity,
  batch_key   text not null,
  chunk       int not null,
  digest      bytea not null,
  received_at timestamptz not null,
  received_by text not null,
  rows_in     int not null,
  rows_new    int not null,
  primary key (plant_id, batch_id),
  constraint ingest_batch_key unique (plant_id, batch_key, chunk)
);

-- What the readings of one kind have in common, said once.
create table reading_context (
  plant_id    int not null references plant,
  context_id  int generated always as identity,
  limit_name  text not null,
  location_id int not null, -- 0: none named
  operator    text not null,
  unit        text not null constraint reading_context_unit check (unit in ('C', 'F', 'K')),
  decimals    smallint not null,
  primary key (plant_id, context_id),
  constraint reading_context_once unique (plant_id, limit_name, location_id, operator, unit, decimals)
);

create table reading (
  taken_at      timestamptz not null,
  value         double precision not null constraint reading_value_finite
    check (value > '-Infinity' and value < 'Infinity'),
  lot_id        bigint,
  source_key    bigint not null,
  plant_id      int not null,
  instrument_id int not null,
  batch_id      int not null,
  context_id    int not null,
  primary key (plant_id, instrument_id, taken_at, source_key)
) partition by range (taken_at);
call keep_to_plant('reading');
call make_append_only('reading');

-- Makes the partition of a month (UTC), once, with its rules. The application
-- may insert into it and not look into it: readings are looked at through the
-- parent, which hides other plants' rows.
-- +goose StatementBegin
create function ensure_reading_month(month date) returns text
  language plpgsql security definer set search_path = public as $$
declare
  first date := date_trunc('month', month)::date;
  t text := 'reading_' || to_char(first, 'YYYYMM');
begin
  if first < date '1990-01-01' or first > (now() + interval '1 month')::date then
    raise exception 'no readings are kept for the month of %', first using errcode = 'check_violation',
      constraint = 'reading_month';
  end if;
  if to_regclass('public.' || t) is not null then
    return t;
  end if;
  perform pg_advisory_xact_lock(5, extract(epoch from first)::int / 86400);
  -- By a scan: to_regclass may answer from a cache that does not yet know what
  -- the holder of the lock before us has made.
  if exists (select from pg_class where relname = t and relnamespace = 'public'::regnamespace) then
    return t;
  end if;
  execute format('create table %I (like reading including all) with (autovacuum_vacuum_insert_scale_factor = 0.05)', t);
  call make_append_only(t::regclass);
  execute format('alter table reading attach partition %I for values from (%L) to (%L)',
    t, first::timestamp at time zone 'UTC', (first + interval '1 month') at time zone 'UTC');
  execute format('grant insert on %I to lastgood_application', t);
  return t;
end $$;
-- +goose StatementEnd
revoke all on function ensure_reading_month(date) from public;
grant execute on function ensure_reading_month(date) to lastgood_application;

-- Readings that are believed to be wrong, and what is held to be right.
create table reading_correction (
  plant_id      int not null references plant,
  instrument_id int not null,
  taken_at      timestamptz not null,
  source_key    bigint not null,
  seq           int not null,
  value         double precision constraint reading_correction_finite
    check (value > '-Infinity' and value < 'Infinity'), -- null: not a reading at all
  reason        text not null,
  recorded_at   timestamptz not null,
  recorded_by   text not null,
  primary key (plant_id, instrument_id, taken_at, source_key, seq)
);

-- Implausible readings: stored, visible, and a gap until somebody decides.
create table reading_quarantine (
  plant_id      int not null references plant,
  instrument_id int not null,
  taken_at      timestamptz not null,
  source_key    bigint not null,
  value         double precision not null constraint reading_quarantine_finite
    check (value > '-Infinity' and value < 'Infinity'),
  lot_id        bigint,
  context_id    int not null,
  batch_id      int not null,
  reason        text not null,
  recorded_at   timestamptz not null,
  primary key (plant_id, instrument_id, taken_at, source_key)
);

-- When an instrument first and last vouched for a lot, or for a location: what
-- an index on the lot would answer, at a twelfth of its size.
create table lot_span (
  plant_id      int not null references plant,
  lot_id        bigint not null,
  instrument_id int not null,
  first_at      timestamptz not null,
  last_at       timestamptz not null,
  primary key (plant_id, lot_id, instrument_id)
);
create index lot_span_instrument_idx on lot_span (plant_id, instrument_id, last_at);

create table location_span (
  plant_id      int not null references plant,
  location_id   int not null,
  instrument_id int not null,
  first_at      timestamptz not null,
  last_at       timestamptz not null,
  primary key (plant_id, location_id, instrument_id)
);

-- When an instrument first and last read for a limit; empty: readings that named
-- none. It says at which temperatures an instrument must have been good.
create table limit_span (
  plant_id      int not null references plant,
  instrument_id int not null,
  limit_name    text not null,
  first_at      timestamptz not null,
  last_at       timestamptz not null,
  primary key (plant_id, instrument_id, limit_name)
);

-- +goose StatementBegin
do $$
declare t text;
begin
  foreach t in array array['ingest_batch', 'reading_context', 'reading_correction', 'reading_quarantine',
      'lot_span', 'location_span', 'limit_span'] loop
    call keep_to_plant(t::regclass);
    execute format('grant select, insert on %I to lastgood_application', t);
  end loop;
  call make_append_only('reading_correction');
  call make_append_only('reading_quarantine');
end $$;
-- +goose StatementEnd
grant select, insert on reading to lastgood_application;
grant update on ingest_batch, lot_span, location_span, limit_span to lastgood_application;
