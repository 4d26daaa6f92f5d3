-- Keys by which plant systems call the API: only a digest is kept. A key that
-- was withdrawn or has run out stays, so that the trail's names stay true. Safe
-- on live data: makes new things only.

-- +goose Up

create table api_key (
  plant_id   int not null references plant,
  key_id     int generated always as identity,
  name       text not null,
  digest     bytea not null constraint api_key_digest_length check (length(digest) = 32),
  scopes     text[] not null,
  expires_at timestamptz not null,
  created_at timestamptz not null,
  created_by text not null,
  revoked_at timestamptz,
  primary key (plant_id, key_id),
  constraint api_key_name unique (plant_id, name)
);
create unique index api_key_digest_idx on api_key (digest);
call keep_to_plant('api_key');
grant select, insert, update on api_key to lastgood_application;

-- A caller shows a key before anyone knows the plant.
-- +goose StatementBegin
create function find_key(p_digest bytea)
  returns table (plant_id int, name text, scopes text[], expires_at timestamptz, revoked_at timestamptz)
  language sql stable security definer set search_path = public as $$
  select plant_id, name, scopes, expires_at, revoked_at from api_key where digest = p_digest
$$;
-- +goose StatementEnd
revoke all on function find_key(bytea) from public;
grant execute on function find_key(bytea) to lastgood_application;
