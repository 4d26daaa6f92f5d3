-- A policy that would take the place of the one in force waits here until two
-- people have signed it. A version says which draft it came from. Safe on live
-- data: makes a new table, and a column that is null for every version there is.

-- +goose Up

create table policy_draft (
  plant_id         int not null references plant,
  draft_id         bigint generated always as identity,
  digest           bytea not null constraint policy_draft_digest_length check (length(digest) = 32),
  body             bytea not null, -- the text as it was proposed
  based_on_version int not null,   -- that was in force then: on another it is not put in force
  proposed_at      timestamptz not null,
  proposed_by      text not null constraint policy_draft_proposed_by check (proposed_by <> ''),
  primary key (plant_id, draft_id),
  foreign key (plant_id, based_on_version) references policy_version (plant_id, policy_version)
);
call keep_to_plant('policy_draft');
call make_append_only('policy_draft');
grant select, insert on policy_draft to lastgood_application;

alter table policy_version add column draft_id bigint; -- null: the first of the plant
alter table policy_version add constraint policy_version_from_draft foreign key (plant_id, draft_id) references policy_draft (plant_id, draft_id);
alter table policy_version add constraint policy_version_once_a_draft unique (plant_id, draft_id);
