-- What the jobs leave behind: holds that were escalated, checks that were found
-- overdue, and the outbox, from which plant systems are told. Safe on live data:
-- new tables, a new column that the previous release leaves empty, and a rule of
-- deviation that everything in it keeps already.

-- +goose Up

-- That nobody had checked an instrument in time, found while it was being read.
-- The record stays, also when a check that was made in time becomes known later:
-- then it means nothing.
create table overdue_check (
  plant_id      int not null,
  overdue_id    bigint generated always as identity,
  instrument_id int not null,
  due_at        timestamptz not null, -- until when a check would have been in time
  in_time_from  timestamptz not null constraint overdue_check_order check (in_time_from <= due_at), -- a clear pass from here on would have been in time
  found_at      timestamptz not null,
  primary key (plant_id, overdue_id),
  constraint overdue_check_once unique (plant_id, instrument_id, due_at),
  foreign key (plant_id, instrument_id) references instrument (plant_id, instrument_id)
);

alter table deviation
  add column overdue_id bigint, -- or the check that nobody made in time
  add constraint deviation_once_an_overdue_check unique (plant_id, overdue_id),
  drop constraint deviation_opened_by,
  add constraint deviation_opened_by check (num_nonnulls(check_id, event_id, overdue_id) = 1),
  add foreign key (plant_id, overdue_id) references overdue_check (plant_id, overdue_id);

-- That something waited too long, each time that somebody was told so.
create table escalation (
  plant_id      int not null references plant,
  escalation_id bigint generated always as identity,
  subject_kind  text not null constraint escalation_subject_kind check (subject_kind <> ''),
  subject_id    bigint not null,
  step          int not null constraint escalation_step check (step > 0),
  raised_at     timestamptz not null,
  roles         text[] not null constraint escalation_roles check (cardinality(roles) > 0),
  text          text not null,
  primary key (plant_id, escalation_id),
  constraint escalation_once unique (plant_id, subject_kind, subject_id, step)
);

-- What plant systems are told: one row for each entry of the trail that concerns
-- them, written with it.
create table outbox_event (
  plant_id    int not null,
  event_id    bigint generated always as identity,
  entry_id    bigint not null,
  type        text not null,
  subject     text not null,
  body        bytea not null, -- the CloudEvents document as it is sent
  recorded_at timestamptz not null,
  primary key (plant_id, event_id),
  constraint outbox_event_once unique (plant_id, entry_id),
  foreign key (plant_id, entry_id) references trail_entry (plant_id, entry_id)
);

-- Events that have no position yet, and the position of those that have. Numbers
-- are handed out before a commit, in whatever order; positions after it, so that
-- whoever read up to one has missed none.
create table outbox_pending (
  plant_id int not null,
  event_id bigint not null,
  primary key (plant_id, event_id),
  foreign key (plant_id, event_id) references outbox_event (plant_id, event_id)
);
create table outbox_position (
  plant_id int not null,
  position bigint not null constraint outbox_position_positive check (position > 0),
  event_id bigint not null,
  primary key (plant_id, position),
  constraint outbox_position_once unique (plant_id, event_id),
  foreign key (plant_id, event_id) references outbox_event (plant_id, event_id)
);

-- To whom events are sent. The secret is kept: every message is signed with it.
create table webhook (
  plant_id      int not null references plant,
  webhook_id    bigint generated always as identity,
  url           text not null,
  events        text[] not null, -- types; empty: all
  secret        bytea not null constraint webhook_secret_length check (length(secret) between 24 and 64),
  created_at    timestamptz not null,
  created_by    text not null,
  disabled_at   timestamptz, -- since when the receiver wants nothing more
  removed_at    timestamptz,
  removed_by    text,
  failing_since timestamptz, -- null: the last delivery arrived
  last_failure  text,
  primary key (plant_id, webhook_id),
  constraint webhook_removed check ((removed_at is null) = (removed_by is null)),
  constraint webhook_failing check ((failing_since is null) = (last_failure is null))
);

-- What arrived where: what stands here is not sent again.
create table webhook_delivery (
  plant_id     int not null,
  webhook_id   bigint not null,
  event_id     bigint not null,
  delivered_at timestamptz not null,
  status       int not null,
  primary key (plant_id, webhook_id, event_id),
  foreign key (plant_id, webhook_id) references webhook (plant_id, webhook_id),
  foreign key (plant_id, event_id) references outbox_event (plant_id, event_id)
);

-- +goose StatementBegin
do $$
declare t text;
begin
  foreach t in array array['overdue_check', 'escalation', 'outbox_event', 'outbox_pending', 'outbox_position', 'webhook', 'webhook_delivery'] loop
    call keep_to_plant(t::regclass);
    execute format('grant select, insert on %I to lastgood_application', t);
  end loop;
  foreach t in array array['overdue_check', 'escalation', 'outbox_event', 'outbox_position', 'webhook_delivery'] loop
    call make_append_only(t::regclass);
  end loop;
end $$;
-- +goose StatementEnd
grant delete on outbox_pending to lastgood_application;
grant update on webhook to lastgood_application;

create index hold_waiting_idx on hold (plant_id, hold_id)
  where lifted_at is null and (acknowledged_at is null or counted_quantity < quantity);

-- Where there is work, in every plant: the jobs look before they know a plant.
-- +goose StatementBegin
create function due_outbox() returns table (plant_id int)
  language sql stable security definer set search_path = public as $$
  select p.plant_id from outbox_pending p group by p.plant_id order by min(p.event_id)
$$;
-- +goose StatementEnd
-- +goose StatementBegin
create function waiting_holds() returns table (plant_id int)
  language sql stable security definer set search_path = public as $$
  select distinct h.plant_id from hold h
  where h.lifted_at is null and (h.acknowledged_at is null or h.counted_quantity < h.quantity) order by h.plant_id
$$;
-- +goose StatementEnd
-- +goose StatementBegin
create function checked_plants() returns table (plant_id int)
  language sql stable security definer set search_path = public as $$
  select distinct i.plant_id from instrument i where i.check_every_days is not null order by i.plant_id
$$;
-- +goose StatementEnd
revoke all on function due_outbox(), waiting_holds(), checked_plants() from public;
grant execute on function due_outbox(), waiting_holds(), checked_plants() to lastgood_application;
