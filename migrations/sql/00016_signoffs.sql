-- What people sign, in every version that anyone was shown, and the signatures.
-- A signature counts for the version it was given to: a record that changes gets
-- a new version, and asks again only for itself. Safe on live data: makes new
-- things only.

-- +goose Up

create table signed_record (
  plant_id       int not null references plant,
  kind           text not null,
  record_id      bigint not null,
  version        int not null constraint signed_record_version_positive check (version > 0),
  deviation_id   bigint, -- null: it belongs to no deviation
  digest         bytea not null constraint signed_record_digest_length check (length(digest) = 32),
  body           bytea not null, -- canonical JSON, as it was digested, with who has to sign
  run_number     int, -- of the trace that it rests on
  policy_version int,
  made_at        timestamptz not null,
  made_by        text not null,
  reason         text not null, -- why there is a new version; empty for the first
  primary key (plant_id, kind, record_id, version),
  foreign key (plant_id, deviation_id) references deviation (plant_id, deviation_id)
);
create index signed_record_deviation_idx on signed_record (plant_id, deviation_id) where deviation_id is not null;

create table signature (
  plant_id         int not null,
  signature_id     bigint generated always as identity,
  kind             text not null,
  record_id        bigint not null,
  version          int not null,
  seat             int not null constraint signature_seat check (seat >= 0),
  person           text not null constraint signature_person check (person <> ''),
  printed_name     text not null, -- as it was then
  title            text not null,
  role             text not null,
  deed             text not null,
  meaning          text not null,
  qualification    text not null,
  acts_for         text[] not null, -- whom they stood in for
  note             text not null,
  signed_at        timestamptz not null,
  authenticated_at timestamptz not null,
  session          text not null,
  primary key (plant_id, signature_id),
  constraint signature_once_a_seat unique (plant_id, kind, record_id, version, seat),
  constraint signature_once_a_person unique (plant_id, kind, record_id, version, person),
  foreign key (plant_id, kind, record_id, version) references signed_record (plant_id, kind, record_id, version)
);

-- +goose StatementBegin
do $$
declare t text;
begin
  foreach t in array array['signed_record', 'signature'] loop
    call keep_to_plant(t::regclass);
    execute format('grant select, insert on %I to lastgood_application', t);
    call make_append_only(t::regclass);
  end loop;
end $$;
-- +goose StatementEnd
