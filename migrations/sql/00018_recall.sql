-- Who is told of product in doubt that has left, and when; and the recall of it:
-- the pack, messages, notices to consignees, what they answered, effectiveness
-- checks by a drawn sample, status reports. Safe on live data: makes new things
-- only.

-- +goose Up

create table notification (
  plant_id        int not null references plant,
  notification_id bigint generated always as identity,
  deviation_id    bigint not null,
  authority       text not null constraint notification_authority check (authority <> ''),
  state           text not null constraint notification_state check (state in ('not_assessed', 'assessing', 'required', 'not_required',
    'sent', 'acknowledged', 'amended', 'done')),
  opened_at       timestamptz not null,
  opened_by       text not null,
  determined_at   timestamptz, -- by the last signature, or when the authority asked
  clock_from      timestamptz, -- null: no clock runs
  sent_at         timestamptz, -- the first notice
  basis           bytea, -- digest of the shipped product that was determined on
  version         int not null default 1,
  primary key (plant_id, notification_id),
  foreign key (plant_id, deviation_id) references deviation (plant_id, deviation_id),
  constraint notification_clock check (state not in ('required', 'sent', 'acknowledged', 'amended', 'done') or clock_from is not null)
);
create unique index notification_once_idx on notification (plant_id, deviation_id, authority) where authority <> 'records_request';
create index notification_deviation_idx on notification (plant_id, deviation_id);

-- What was said to an authority and what it answered. The text is kept by its digest.
create table notification_message (
  plant_id        int not null,
  message_id      bigint generated always as identity,
  notification_id bigint not null,
  kind            text not null constraint notification_message_kind check (kind in ('sent', 'acknowledged', 'amended', 'done')),
  at              timestamptz not null,
  whom            text not null, -- the office and the person there
  method          text not null,
  person          text not null, -- who told them
  text_version    int, -- of the text; null: nothing was said, only received
  digest          bytea,
  reference       text not null, -- the authority's
  recorded_at     timestamptz not null,
  recorded_by     text not null,
  primary key (plant_id, message_id),
  foreign key (plant_id, notification_id) references notification (plant_id, notification_id),
  foreign key (plant_id, digest) references evidence (plant_id, digest)
);
create index notification_message_idx on notification_message (plant_id, notification_id);

create table recall (
  plant_id       int not null references plant,
  recall_id      bigint generated always as identity,
  deviation_id   bigint not null,
  state          text not null constraint recall_state check (state in ('not_needed', 'deciding', 'decided', 'decided_not', 'notified', 'retrieving',
    'effectiveness_checking', 'termination_requested', 'terminated')),
  pack           bytea not null, -- what people wrote of it, JSON; what is signed stands in signed_record
  basis          bytea not null, -- digest of the shipped product that was decided on
  opened_at      timestamptz not null,
  opened_by      text not null,
  decided_at     timestamptz, -- first
  version        int not null default 1,
  primary key (plant_id, recall_id),
  constraint recall_once unique (plant_id, deviation_id),
  foreign key (plant_id, deviation_id) references deviation (plant_id, deviation_id)
);

-- What the agency said or was told of the recall: its class, the request to end
-- it, its reply.
create table recall_letter (
  plant_id    int not null,
  letter_id   bigint generated always as identity,
  recall_id   bigint not null,
  kind        text not null constraint recall_letter_kind check (kind in ('class', 'termination_request', 'termination')),
  says        text not null, -- of a class: the class
  reference   text not null constraint recall_letter_reference check (reference <> ''),
  at          timestamptz not null,
  digest      bytea,
  recorded_at timestamptz not null,
  recorded_by text not null,
  primary key (plant_id, letter_id),
  foreign key (plant_id, recall_id) references recall (plant_id, recall_id),
  foreign key (plant_id, digest) references evidence (plant_id, digest)
);
create index recall_letter_idx on recall_letter (plant_id, recall_id);

create table recall_text (
  plant_id     int not null,
  recall_id    bigint not null,
  text_version int not null constraint recall_text_version check (text_version > 0),
  digest       bytea not null,
  written_at   timestamptz not null,
  written_by   text not null,
  primary key (plant_id, recall_id, text_version),
  foreign key (plant_id, recall_id) references recall (plant_id, recall_id),
  foreign key (plant_id, digest) references evidence (plant_id, digest)
);

create table recall_notice (
  plant_id     int not null,
  notice_id    bigint generated always as identity,
  recall_id    bigint not null,
  consignee    text not null,
  text_version int not null,
  method       text not null,
  whom         text not null, -- who was told there
  person       text not null, -- who told them
  at           timestamptz not null,
  recorded_at  timestamptz not null,
  recorded_by  text not null,
  primary key (plant_id, notice_id),
  foreign key (plant_id, recall_id, text_version) references recall_text (plant_id, recall_id, text_version)
);
create index recall_notice_idx on recall_notice (plant_id, recall_id);

-- What a consignee says has become of what they got; the latest word counts. It
-- is no ledger: what was carried out stands in execution.
create table recall_response (
  plant_id      int not null,
  response_id   bigint generated always as identity,
  recall_id     bigint not null,
  consignee     text not null,
  shipment      text not null,
  lot_id        bigint not null,
  on_hand       numeric not null constraint recall_response_on_hand check (on_hand >= 0),
  returned      numeric not null constraint recall_response_returned check (returned >= 0),
  destroyed     numeric not null constraint recall_response_destroyed check (destroyed >= 0),
  sold_on       numeric not null constraint recall_response_sold_on check (sold_on >= 0),
  quantity_unit text not null,
  person        text not null, -- who answered there
  at            timestamptz not null,
  recorded_at   timestamptz not null,
  recorded_by   text not null,
  primary key (plant_id, response_id),
  foreign key (plant_id, recall_id) references recall (plant_id, recall_id),
  foreign key (plant_id, lot_id, shipment) references shipment (plant_id, lot_id, shipment)
);
create index recall_response_idx on recall_response (plant_id, recall_id);

create table recall_sample (
  plant_id   int not null,
  sample_id  bigint generated always as identity,
  recall_id  bigint not null,
  level      text not null constraint recall_sample_level check (level in ('A', 'B', 'C', 'D', 'E')),
  share      numeric not null, -- of a hundred
  seed       bigint not null,
  population text[] not null, -- sorted, as it was drawn from
  drawn      text[] not null,
  drawn_at   timestamptz not null,
  drawn_by   text not null,
  primary key (plant_id, sample_id),
  foreign key (plant_id, recall_id) references recall (plant_id, recall_id)
);
create index recall_sample_idx on recall_sample (plant_id, recall_id);

create table recall_check (
  plant_id    int not null,
  check_id    bigint generated always as identity,
  recall_id   bigint not null,
  consignee   text not null,
  notice_id   bigint not null, -- the notice whose effect was checked
  passed      boolean not null,
  method      text not null,
  person      text not null, -- who checked
  note        text not null,
  at          timestamptz not null,
  recorded_at timestamptz not null,
  recorded_by text not null,
  primary key (plant_id, check_id),
  foreign key (plant_id, recall_id) references recall (plant_id, recall_id),
  foreign key (plant_id, notice_id) references recall_notice (plant_id, notice_id)
);
create index recall_check_idx on recall_check (plant_id, recall_id);

create table recall_status (
  plant_id    int not null,
  status_id   bigint generated always as identity,
  recall_id   bigint not null,
  body        bytea not null, -- the report as it was made, JSON
  sent_to     text not null,
  reference   text not null,
  at          timestamptz not null,
  next_days   int not null constraint recall_status_next check (next_days between 14 and 28),
  recorded_at timestamptz not null,
  recorded_by text not null,
  primary key (plant_id, status_id),
  foreign key (plant_id, recall_id) references recall (plant_id, recall_id)
);
create index recall_status_idx on recall_status (plant_id, recall_id);

-- +goose StatementBegin
do $$
declare t text;
begin
  foreach t in array array['notification', 'notification_message', 'recall', 'recall_letter', 'recall_text', 'recall_notice', 'recall_response',
    'recall_sample', 'recall_check', 'recall_status'] loop
    call keep_to_plant(t::regclass);
    execute format('grant select, insert on %I to lastgood_application', t);
  end loop;
  foreach t in array array['notification_message', 'recall_letter', 'recall_text', 'recall_notice', 'recall_response',
    'recall_sample', 'recall_check', 'recall_status'] loop
    call make_append_only(t::regclass);
  end loop;
end $$;
-- +goose StatementEnd
grant update on notification, recall to lastgood_application;
