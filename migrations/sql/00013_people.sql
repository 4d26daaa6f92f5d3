-- People of a plant: who they are, in which roles and with what qualification
-- they act, whom they stand in for, how they prove who they are, and their
-- sessions. A code is never used again, so that the trail's names stay true: rows
-- of people are never deleted, and the application cannot change a code. Safe on
-- live data: makes new things only.

-- +goose Up

create table person (
  plant_id     int not null references plant,
  person_id    int generated always as identity,
  code         text not null,
  name         text not null, -- as it is printed beside a signature
  title        text not null,
  active_until timestamptz, -- null: nobody has said that they leave
  added_at     timestamptz not null,
  added_by     text not null,
  version      int not null default 1,
  primary key (plant_id, person_id),
  constraint person_code unique (plant_id, code)
);
-- qa-1 and QA-1 in a trail would be taken for one person.
create unique index person_code_any_case on person (plant_id, lower(code));
call keep_to_plant('person');
grant select, insert, update (active_until, version) on person to lastgood_application;

create table person_role (
  plant_id                int not null,
  role_id                 bigint generated always as identity,
  person_id               int not null,
  role                    text not null,
  held_from               timestamptz not null,
  held_until              timestamptz constraint person_role_order check (held_until >= held_from), -- null: no end is set
  qualification           text, -- its kind; null: none
  qualification_reference text,
  qualification_until     timestamptz, -- null: it does not run out
  granted_at              timestamptz not null,
  granted_by              text not null,
  primary key (plant_id, role_id),
  constraint person_role_qualification check ((qualification is null) = (qualification_reference is null)),
  foreign key (plant_id, person_id) references person (plant_id, person_id)
);
create index person_role_person_idx on person_role (plant_id, person_id);
call keep_to_plant('person_role');
grant select, insert, update (held_until) on person_role to lastgood_application;

-- The qualification is the deputy's own: nobody lends theirs.
create table delegation (
  plant_id                int not null,
  delegation_id           bigint generated always as identity,
  person_id               int not null, -- whose role it is
  deputy_id               int not null,
  role                    text not null,
  starts_at               timestamptz not null,
  ends_at                 timestamptz not null constraint delegation_order check (ends_at > starts_at),
  reason                  text not null constraint delegation_reason check (reason <> ''),
  qualification           text,
  qualification_reference text,
  qualification_until     timestamptz,
  made_at                 timestamptz not null,
  made_by                 text not null,
  primary key (plant_id, delegation_id),
  constraint delegation_of_another check (person_id <> deputy_id),
  constraint delegation_qualification check ((qualification is null) = (qualification_reference is null)),
  foreign key (plant_id, person_id) references person (plant_id, person_id),
  foreign key (plant_id, deputy_id) references person (plant_id, person_id)
);
create index delegation_deputy_idx on delegation (plant_id, deputy_id);
create index delegation_person_idx on delegation (plant_id, person_id);
call keep_to_plant('delegation');
call make_append_only('delegation');
grant select, insert on delegation to lastgood_application;

-- From when until when somebody may act in a role, by themselves or for another.
-- It ends with whatever ends first: the role, the delegation, or either person's
-- time at the plant.
create view person_capacity with (security_invoker = true) as
  select p.plant_id, p.person_id, p.code, p.name, p.title, r.role, null::text as stands_in_for,
    r.held_from, least(r.held_until, p.active_until) as held_until,
    r.qualification, r.qualification_reference, r.qualification_until
  from person_role r join person p using (plant_id, person_id)
  union all
  select p.plant_id, p.person_id, p.code, p.name, p.title, d.role, o.code,
    greatest(d.starts_at, r.held_from), least(d.ends_at, r.held_until, p.active_until, o.active_until),
    d.qualification, d.qualification_reference, d.qualification_until
  from delegation d
  join person p on p.plant_id = d.plant_id and p.person_id = d.deputy_id
  join person o on o.plant_id = d.plant_id and o.person_id = d.person_id
  join person_role r on r.plant_id = d.plant_id and r.person_id = d.person_id and r.role = d.role;
grant select on person_capacity to lastgood_application;

-- How a person proves who they are: a password of their own, or before that a
-- code that works once. Both only as what can be checked and not read back.
create table person_credential (
  plant_id        int not null,
  person_id       int not null,
  password        text, -- argon2id, in PHC form; null: none set
  code_digest     bytea constraint person_credential_digest_length check (length(code_digest) = 32),
  code_expires_at timestamptz,
  failed_at       timestamptz[] not null default '{}', -- wrong entries since the last right one
  locked_until    timestamptz,
  primary key (plant_id, person_id),
  constraint person_credential_code check ((code_digest is null) = (code_expires_at is null)),
  foreign key (plant_id, person_id) references person (plant_id, person_id)
);
call keep_to_plant('person_credential');
grant select, insert, update on person_credential to lastgood_application;

create table person_session (
  plant_id         int not null,
  session_id       bigint generated always as identity,
  person_id        int not null,
  digest           bytea not null constraint person_session_digest_length check (length(digest) = 32),
  started_at       timestamptz not null,
  authenticated_at timestamptz not null, -- when the password was last given
  seen_at          timestamptz not null, -- written at most once a minute
  ends_at          timestamptz not null,
  ended_at         timestamptz,
  primary key (plant_id, session_id),
  foreign key (plant_id, person_id) references person (plant_id, person_id)
);
create unique index person_session_digest_idx on person_session (digest);
create index person_session_person_idx on person_session (plant_id, person_id) where ended_at is null;
call keep_to_plant('person_session');
grant select, insert, update (authenticated_at, seen_at, ended_at) on person_session to lastgood_application;

-- Who ever administered users or roles: they sign nothing.
create table administration_act (
  plant_id int not null references plant,
  act_id   bigint generated always as identity,
  person   text not null constraint administration_act_person check (person <> ''), -- as in the trail
  action   text not null,
  subject  text not null,
  done_at  timestamptz not null,
  primary key (plant_id, act_id)
);
create index administration_act_person_idx on administration_act (plant_id, person);
call keep_to_plant('administration_act');
call make_append_only('administration_act');
grant select, insert on administration_act to lastgood_application;

-- A caller shows a session before anyone knows the plant. Roles are those in
-- which the person may act at the given time, each with whom they stand in for.
-- +goose StatementBegin
create function find_session(p_digest bytea, p_at timestamptz)
  returns table (plant_id int, session_id bigint, code text, name text, title text, active_until timestamptz, authenticated_at timestamptz,
    seen_at timestamptz, ends_at timestamptz, ended_at timestamptz, roles text[], stands_in_for text[])
  language sql stable security definer set search_path = public as $$
  select s.plant_id, s.session_id, p.code, p.name, p.title, p.active_until, s.authenticated_at, s.seen_at, s.ends_at, s.ended_at,
    c.roles, c.stands_in_for
  from person_session s join person p on p.plant_id = s.plant_id and p.person_id = s.person_id
  cross join lateral (
    select array_agg(c.role order by c.role, c.stands_in_for nulls first) as roles,
      array_agg(coalesce(c.stands_in_for, '') order by c.role, c.stands_in_for nulls first) as stands_in_for
    from person_capacity c where c.plant_id = s.plant_id and c.person_id = s.person_id
      and c.held_from <= p_at and (c.held_until is null or c.held_until > p_at)) c
  where s.digest = p_digest
$$;
-- +goose StatementEnd
revoke all on function find_session(bytea, timestamptz) from public;
grant execute on function find_session(bytea, timestamptz) to lastgood_application;
