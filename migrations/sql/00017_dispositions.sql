-- What becomes of product in doubt: portions with their quantity and what tells
-- them apart, dispositions proposed for them with evidence, and what was carried
-- out. Safe on live data: new columns that the previous release leaves empty,
-- wider lists of states, and new tables; uniqueness of a hold now counts standing
-- ones only.

-- +goose Up

alter table deviation
  drop constraint deviation_state,
  add constraint deviation_state check (state in ('detected', 'contained', 'traced', 'evaluating', 'awaiting_results',
    'disposition_proposed', 'disposition_signed', 'executing', 'verifying', 'closed', 'reopened', 'cancelled_in_error')),
  drop constraint deviation_evaluator,
  add constraint deviation_evaluator check (state in ('detected', 'contained', 'traced', 'reopened', 'cancelled_in_error') or evaluator is not null),
  add column evaluated_digest bytea, -- of the findings that the evaluator saw
  add column reopened int not null default 0, -- how often
  add column reopen_asked text; -- the reason a person gave, until it is traced again

alter table portion
  drop constraint portion_state,
  add constraint portion_state check (state in ('free', 'on_hold', 'under_test', 'decided', 'released', 'reworked', 'reprocessed',
    'diverted', 'destroyed', 'retrieved', 'accounted_unrecoverable')),
  add column place text not null default 'in_control' constraint portion_place check (place in ('in_control', 'shipped', 'retrieved')),
  add column quantity numeric constraint portion_quantity_positive check (quantity > 0), -- null: what no other portion names
  add column quantity_unit text,
  add column pallet text,
  add column tag text,
  add column made_from timestamptz,
  add column made_until timestamptz constraint portion_made_order check (made_until >= made_from),
  add column shipment text, -- of what has left
  add column out_of bigint, -- the disposition by which it came back
  add column created_at timestamptz,
  add column created_by text,
  add constraint portion_quantity_has_unit check ((quantity is null) = (quantity_unit is null)),
  add constraint portion_named_has_quantity check (label = '' or created_at is null or quantity is not null or place = 'shipped');
create unique index portion_pallet_idx on portion (plant_id, lot_id, pallet) where pallet is not null;

alter table hold
  drop constraint hold_once,
  add column lift_reason text,
  add column counted_unit text; -- of a count where nobody had said how much it is
create unique index hold_once_standing on hold (plant_id, deviation_id, portion_id) where lifted_at is null;

create table disposition (
  plant_id       int not null references plant,
  disposition_id bigint generated always as identity,
  deviation_id   bigint not null,
  portion_id     bigint not null,
  kind           text not null constraint disposition_kind
    check (kind in ('release', 'rework', 'reprocess', 'divert', 'destroy', 'retrieve')),
  state          text not null constraint disposition_state check (state in ('proposed', 'executed', 'withdrawn', 'overtaken')),
  reason         text not null,
  receiver       text not null, -- of what is diverted, with the use; empty: none
  into_lot       text not null, -- of what is reworked; empty: none
  because        text not null, -- why the lot it went into leaves no doubt untraced; empty: it is in doubt too
  proposed_at    timestamptz not null,
  proposed_by    text not null,
  ended_because  text not null default '',
  version        int not null default 1,
  primary key (plant_id, disposition_id),
  foreign key (plant_id, deviation_id) references deviation (plant_id, deviation_id),
  foreign key (plant_id, portion_id) references portion (plant_id, portion_id)
);
create unique index disposition_once_idx on disposition (plant_id, deviation_id, portion_id) where state in ('proposed', 'executed');

create table attached_evidence (
  plant_id     int not null,
  attached_id  bigint generated always as identity,
  deviation_id bigint not null,
  lot_id       bigint not null,
  portion_id   bigint, -- null: it speaks for the whole lot
  kind         text not null,
  digest       bytea, -- of bytes that are kept; null: a statement only
  name         text not null,
  note         text not null,
  attached_at  timestamptz not null,
  attached_by  text not null,
  primary key (plant_id, attached_id),
  foreign key (plant_id, deviation_id) references deviation (plant_id, deviation_id),
  foreign key (plant_id, lot_id) references lot (plant_id, lot_id),
  foreign key (plant_id, portion_id) references portion (plant_id, portion_id),
  foreign key (plant_id, digest) references evidence (plant_id, digest)
);
create index attached_evidence_deviation_idx on attached_evidence (plant_id, deviation_id);

-- What was carried out of a disposition, once it was reported; a portion may take
-- several reports.
create table execution (
  plant_id       int not null,
  execution_id   bigint generated always as identity,
  disposition_id bigint not null,
  fate           text not null constraint execution_fate check (fate in ('released', 'reworked', 'reprocessed', 'diverted', 'destroyed',
    'retrieved', 'accounted_unrecoverable', 'samples', 'process_loss')),
  quantity       numeric not null constraint execution_quantity_not_negative check (quantity >= 0),
  quantity_unit  text not null,
  at             timestamptz not null,
  place          text not null,
  tag            text not null,
  reason         text not null,
  reported_at    timestamptz not null,
  reported_by    text not null,
  primary key (plant_id, execution_id),
  foreign key (plant_id, disposition_id) references disposition (plant_id, disposition_id)
);
create index execution_disposition_idx on execution (plant_id, disposition_id);

-- How much of one unit is one of another, and where that is written.
create table conversion (
  plant_id      int not null references plant,
  product_id    int not null,
  unit          text not null,
  quantity      numeric not null constraint conversion_positive check (quantity > 0),
  quantity_unit text not null constraint conversion_units check (quantity_unit <> unit),
  source        text not null constraint conversion_source check (source <> ''),
  recorded_at   timestamptz not null,
  recorded_by   text not null,
  primary key (plant_id, product_id, unit, quantity_unit),
  foreign key (plant_id, product_id) references product (plant_id, product_id)
);

-- +goose StatementBegin
do $$
declare t text;
begin
  foreach t in array array['disposition', 'attached_evidence', 'execution', 'conversion'] loop
    call keep_to_plant(t::regclass);
    execute format('grant select, insert on %I to lastgood_application', t);
  end loop;
  foreach t in array array['attached_evidence', 'execution', 'conversion'] loop
    call make_append_only(t::regclass);
  end loop;
end $$;
-- +goose StatementEnd
grant update on disposition to lastgood_application;
