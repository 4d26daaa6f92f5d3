-- What a reference that fell takes with it: seen in full before it is done,
-- confirmed by a second person, and held from the first moment. And how checks
-- are judged anew when a certificate of their reference becomes known late. Safe
-- on live data: new tables, a new column, and a hold that may belong to a
-- cascade before it belongs to a deviation; the previous release makes none.

-- +goose Up

create table cascade (
  plant_id      int not null references plant,
  cascade_id    bigint generated always as identity,
  instrument_id int not null, -- the reference of which something new is known
  state         text not null constraint cascade_state check (state in ('pending', 'confirmed', 'overtaken')),
  started_at    timestamptz not null,
  previewed_at  timestamptz not null,
  actors        text[] not null, -- whoever recorded what it rests on; none of them confirms it
  digest        bytea not null constraint cascade_digest_length check (length(digest) = 32),
  preview       bytea not null, -- the tree as JSON, as it was digested
  refresh_due   timestamptz, -- since when something newer than the preview is known
  confirmed_at  timestamptz,
  confirmed_by  text,
  version       int not null default 1,
  primary key (plant_id, cascade_id),
  constraint cascade_confirmed check ((state = 'confirmed') = (confirmed_at is not null) and (confirmed_at is null) = (confirmed_by is null)),
  constraint cascade_second_person check (not confirmed_by = any (actors)),
  foreign key (plant_id, instrument_id) references instrument (plant_id, instrument_id)
);
create unique index cascade_pending_idx on cascade (plant_id, instrument_id) where state = 'pending';
create index cascade_due_idx on cascade (plant_id, cascade_id) where refresh_due is not null;

-- The checks that a cascade takes the worth from, or gives it back to.
create table cascade_check (
  plant_id   int not null,
  cascade_id bigint not null,
  check_id   bigint not null,
  falls      boolean not null,
  primary key (plant_id, cascade_id, check_id),
  foreign key (plant_id, cascade_id) references cascade (plant_id, cascade_id),
  foreign key (plant_id, check_id) references accuracy_check (plant_id, check_id)
);

-- The instruments of a cascade, with the windows that they will have.
create table cascade_window (
  plant_id      int not null,
  cascade_id    bigint not null,
  ordinal       int not null,
  instrument_id int not null,
  span          tstzrange not null,
  primary key (plant_id, cascade_id, ordinal),
  foreign key (plant_id, cascade_id) references cascade (plant_id, cascade_id),
  foreign key (plant_id, instrument_id) references instrument (plant_id, instrument_id)
);
create index cascade_window_instrument_idx on cascade_window (plant_id, instrument_id);

-- A hold is placed at once; the deviation that it will belong to opens when the
-- cascade is confirmed, and takes it over with its acknowledgement.
alter table hold
  alter column deviation_id drop not null,
  add column cascade_id bigint,
  add constraint hold_because check (num_nonnulls(deviation_id, cascade_id) > 0),
  add foreign key (plant_id, cascade_id) references cascade (plant_id, cascade_id);
create unique index hold_once_a_cascade on hold (plant_id, cascade_id, portion_id) where deviation_id is null;

-- What became of a check when a certificate of its reference was recorded after
-- it. The check itself stays as it was judged then; the newest row here counts.
create table check_rejudged (
  plant_id      int not null,
  rejudged_id   bigint generated always as identity,
  check_id      bigint not null,
  found_verdict text not null constraint check_rejudged_found check (found_verdict in ('pass', 'fail', 'inconclusive')),
  left_verdict  text not null constraint check_rejudged_left check (left_verdict in ('pass', 'fail', 'inconclusive')),
  distrusted    text not null, -- why it is no check at all; empty: it is one
  recorded_at   timestamptz not null,
  recorded_by   text not null,
  primary key (plant_id, rejudged_id),
  foreign key (plant_id, check_id) references accuracy_check (plant_id, check_id)
);
create index check_rejudged_check_idx on check_rejudged (plant_id, check_id, rejudged_id);

create table check_point_rejudged (
  plant_id         int not null,
  rejudged_id      bigint not null,
  ordinal          int not null,
  true_temperature bigint not null,
  reference_u      double precision not null constraint check_point_rejudged_u check (reference_u >= 0 and reference_u < 'Infinity'),
  basis            text not null,
  primary key (plant_id, rejudged_id, ordinal),
  foreign key (plant_id, rejudged_id) references check_rejudged (plant_id, rejudged_id)
);

-- +goose StatementBegin
do $$
declare t text;
begin
  foreach t in array array['cascade', 'cascade_check', 'cascade_window', 'check_rejudged', 'check_point_rejudged'] loop
    call keep_to_plant(t::regclass);
    execute format('grant select, insert on %I to lastgood_application', t);
  end loop;
  call make_append_only('check_rejudged');
  call make_append_only('check_point_rejudged');
end $$;
-- +goose StatementEnd
grant update on cascade to lastgood_application;
grant delete on cascade_check, cascade_window to lastgood_application;

-- The plants of which a cascade is to be looked at again: the server looks
-- before it knows a plant.
-- +goose StatementBegin
create function due_cascades() returns table (plant_id int)
  language sql stable security definer set search_path = public as $$
  select plant_id from cascade where refresh_due is not null and state = 'pending'
  group by plant_id order by min(refresh_due), plant_id
$$;
-- +goose StatementEnd
revoke all on function due_cascades() from public;
grant execute on function due_cascades() to lastgood_application;
