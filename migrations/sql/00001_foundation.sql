-- The plant, who asked for what, and the rules that every table keeps: the
-- plant leads every key, rows of another plant are invisible, and what is a
-- record is never changed. Safe on live data: makes new things only.

-- +goose Up

-- Whatever serves requests is a member of this role. It is neither the owner of
-- a table nor a superuser, so that the database itself can refuse it things.
-- +goose StatementBegin
do $$ begin
  if not exists (select from pg_roles where rolname = 'lastgood_application') then
    create role lastgood_application nologin;
  end if;
end $$;
-- +goose StatementEnd

grant usage on schema public to lastgood_application;

-- The plant that this transaction works for. Unset: none, and so no rows.
-- +goose StatementBegin
create function lastgood_plant() returns int language sql stable as $$
  select nullif(current_setting('lastgood.plant', true), '')::int
$$;
-- +goose StatementEnd

-- +goose StatementBegin
create function refuse_change() returns trigger language plpgsql as $$
begin
  raise exception 'rows of % are a record: they are corrected by new rows, never changed', tg_table_name
    using errcode = 'restrict_violation', constraint = 'append_only';
end $$;
-- +goose StatementEnd

-- Makes a table a record: no update, no delete, no truncate, by anyone.
-- +goose StatementBegin
create procedure make_append_only(t regclass) language plpgsql as $$
begin
  execute format('create trigger append_only before update or delete or truncate on %s
    for each statement execute function refuse_change()', t);
end $$;
-- +goose StatementEnd

-- Hides the rows of other plants from the application.
-- +goose StatementBegin
create procedure keep_to_plant(t regclass) language plpgsql as $$
begin
  execute format('alter table %s enable row level security', t);
  execute format('create policy own_plant on %s using (plant_id = lastgood_plant())
    with check (plant_id = lastgood_plant())', t);
end $$;
-- +goose StatementEnd

create table plant (
  plant_id   int generated always as identity primary key,
  name       text not null constraint plant_name unique,
  time_zone  text not null,
  altitude_m double precision constraint plant_altitude_finite check (altitude_m between -500 and 9000),
  version    int not null default 1,
  created_at timestamptz not null default now()
);
call keep_to_plant('plant');
grant select, update on plant to lastgood_application;

-- Raised by whoever opens or widens a deviation, under the exclusive plant
-- lock; ingest compares it under the shared one.
create table deviation_epoch (
  plant_id int primary key references plant,
  epoch    bigint not null default 0
);
call keep_to_plant('deviation_epoch');
grant select, update on deviation_epoch to lastgood_application;

-- A plant is found or made before its rows can be seen, hence by the owner's
-- right. The name is the installation's own key of a plant.
-- +goose StatementBegin
create function find_plant(p_name text) returns int
  language sql stable security definer set search_path = public as $$
  select plant_id from plant where name = p_name
$$;
-- +goose StatementEnd
-- +goose StatementBegin
create function create_plant(p_name text, p_time_zone text, p_altitude_m double precision) returns int
  language plpgsql security definer set search_path = public as $$
declare id int;
begin
  insert into plant (name, time_zone, altitude_m) values (p_name, p_time_zone, p_altitude_m)
    returning plant_id into id;
  insert into deviation_epoch (plant_id) values (id);
  return id;
end $$;
-- +goose StatementEnd
revoke all on function create_plant(text, text, double precision) from public;
grant execute on function create_plant(text, text, double precision), find_plant(text) to lastgood_application;

-- One row a command that had a key: committed with the command, so that a
-- repeated request is answered and not done again.
create table idempotency (
  plant_id       int not null references plant,
  actor          text not null,
  key            text not null,
  request_digest bytea not null,
  status         int not null,
  body           bytea not null,
  recorded_at    timestamptz not null,
  primary key (plant_id, actor, key)
);
call keep_to_plant('idempotency');
call make_append_only('idempotency');
grant select, insert on idempotency to lastgood_application;

-- Bytes that something was decided on, by their digest.
create table evidence (
  plant_id    int not null references plant,
  digest      bytea not null constraint evidence_digest_length check (length(digest) = 32),
  media_type  text not null,
  bytes       bytea not null,
  recorded_at timestamptz not null,
  primary key (plant_id, digest)
);
call keep_to_plant('evidence');
call make_append_only('evidence');
grant select, insert on evidence to lastgood_application;

-- The decision trail. body holds the canonical bytes as they were hashed.
create table trail_entry (
  plant_id    int not null references plant,
  stream      text not null,
  seq         bigint not null constraint trail_seq_positive check (seq > 0),
  entry_id    bigint generated always as identity,
  prev_hash   bytea not null constraint trail_prev_hash_length check (length(prev_hash) = 32),
  hash        bytea not null constraint trail_hash_length check (length(hash) = 32),
  body        bytea not null,
  recorded_at timestamptz not null,
  primary key (plant_id, stream, seq),
  constraint trail_entry_id unique (plant_id, entry_id)
);
call keep_to_plant('trail_entry');
call make_append_only('trail_entry');
grant select, insert on trail_entry to lastgood_application;

-- Entries that the sequencer has not yet put into the Merkle log, and where it
-- put those that it has.
create table trail_pending (
  plant_id int not null,
  entry_id bigint not null,
  primary key (plant_id, entry_id),
  foreign key (plant_id, entry_id) references trail_entry (plant_id, entry_id)
);
call keep_to_plant('trail_pending');
grant select, insert, delete on trail_pending to lastgood_application;

create table trail_leaf (
  plant_id   int not null,
  tree_index bigint not null,
  entry_id   bigint not null,
  primary key (plant_id, tree_index),
  constraint trail_leaf_once unique (plant_id, entry_id),
  foreign key (plant_id, entry_id) references trail_entry (plant_id, entry_id)
);
call keep_to_plant('trail_leaf');
call make_append_only('trail_leaf');
grant select, insert on trail_leaf to lastgood_application;

-- The site's policy, as it was given, by version.
create table policy_version (
  plant_id       int not null references plant,
  policy_version int not null,
  digest         bytea not null,
  body           bytea not null,
  recorded_at    timestamptz not null,
  recorded_by    text not null,
  primary key (plant_id, policy_version)
);
call keep_to_plant('policy_version');
call make_append_only('policy_version');
grant select, insert on policy_version to lastgood_application;

create table critical_limit (
  plant_id       int not null,
  name           text not null,
  policy_version int not null,
  ordinal        int not null,
  kind           text not null,
  text           text not null,
  valid_from     timestamptz,
  valid_until    timestamptz,
  primary key (plant_id, name, policy_version, ordinal),
  foreign key (plant_id, policy_version) references policy_version (plant_id, policy_version)
);
call keep_to_plant('critical_limit');
call make_append_only('critical_limit');
grant select, insert on critical_limit to lastgood_application;
