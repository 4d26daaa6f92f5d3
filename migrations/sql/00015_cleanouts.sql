-- Which locations are vessels, in which product mixes with what stood there
-- before; clean-outs, which end that and the reach of a single reading; and rows
-- of the genealogy that would close a cycle. Safe on live data: new tables, and
-- new columns that the previous release leaves empty; the new index holds up
-- writers of stays while it is built.

-- +goose Up

alter table location
  add column vessel  boolean, -- null: nobody has said; it is then taken for a place in which lots stand apart
  add column note    text not null default '',
  add column version int not null default 1;
grant update (vessel, note, version) on location to lastgood_application;

create table cleanout (
  plant_id    int not null,
  cleanout_id bigint generated always as identity,
  location_id int not null,
  begun_at    timestamptz, -- null: not said; it then took no time
  cleaned_at  timestamptz not null, -- when it was over
  note        text not null,
  recorded_at timestamptz not null,
  recorded_by text not null,
  primary key (plant_id, cleanout_id),
  constraint cleanout_once unique (plant_id, location_id, cleaned_at),
  constraint cleanout_order check (begun_at <= cleaned_at),
  foreign key (plant_id, location_id) references location (plant_id, location_id)
);

-- The last that had begun before something came in.
create index cleanout_begun_idx on cleanout (plant_id, location_id, (coalesce(begun_at, cleaned_at)));

-- A clean-out that was recorded and did not take place, or not then.
create table cleanout_withdrawal (
  plant_id    int not null,
  cleanout_id bigint not null,
  note        text not null,
  recorded_at timestamptz not null,
  recorded_by text not null,
  primary key (plant_id, cleanout_id),
  foreign key (plant_id, cleanout_id) references cleanout (plant_id, cleanout_id)
);

-- What stood in a vessel when the last clean-out began, or later.
create index stay_end_idx on stay (plant_id, location_id, (coalesce(stayed_to, 'infinity'::timestamptz)));

-- A row that would make a lot its own ancestor. It is no transformation: until a
-- person rejects it, the lots of its cycle count as one mixed lot.
create table transformation_quarantine (
  plant_id        int not null,
  quarantine_id   bigint generated always as identity,
  input_lot_id    bigint not null,
  output_lot_id   bigint not null,
  event           text not null,
  at              timestamptz not null,
  input_quantity  numeric constraint transformation_quarantine_input_not_negative check (input_quantity >= 0),
  output_quantity numeric constraint transformation_quarantine_output_not_negative check (output_quantity >= 0),
  quantity_unit   text,
  lots            bigint[] not null, -- of the cycle, when the row came
  reason          text not null,
  recorded_at     timestamptz not null,
  recorded_by     text not null,
  primary key (plant_id, quarantine_id),
  foreign key (plant_id, input_lot_id) references lot (plant_id, lot_id),
  foreign key (plant_id, output_lot_id) references lot (plant_id, lot_id)
);
create index transformation_quarantine_input_idx on transformation_quarantine (plant_id, input_lot_id, output_lot_id);
create index transformation_quarantine_output_idx on transformation_quarantine (plant_id, output_lot_id, input_lot_id);

-- What a person made of it, once.
create table transformation_resolution (
  plant_id      int not null,
  quarantine_id bigint not null,
  verdict       text not null constraint transformation_resolution_verdict check (verdict in ('accepted_as_commingled', 'rejected')),
  reason        text not null constraint transformation_resolution_reason check (reason <> ''),
  decided_by    text not null constraint transformation_resolution_decided_by check (decided_by <> ''),
  recorded_at   timestamptz not null,
  recorded_by   text not null,
  primary key (plant_id, quarantine_id),
  foreign key (plant_id, quarantine_id) references transformation_quarantine (plant_id, quarantine_id)
);

-- +goose StatementBegin
do $$
declare t text;
begin
  foreach t in array array['cleanout', 'cleanout_withdrawal', 'transformation_quarantine', 'transformation_resolution'] loop
    call keep_to_plant(t::regclass);
    call make_append_only(t::regclass);
    execute format('grant select, insert on %I to lastgood_application', t);
  end loop;
end $$;
-- +goose StatementEnd
