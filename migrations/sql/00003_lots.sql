-- Product: lots, their portions, where they stayed, what was made of them, to
-- whom they went. Quantities are exact decimals in the plant's own unit. Safe
-- on live data: makes new things only.

-- +goose Up

create table product (
  plant_id        int not null references plant,
  product_id      int generated always as identity,
  code            text not null,
  name            text not null,
  ready_to_eat    boolean,
  supports_growth boolean,
  consumers       text not null constraint product_consumers check (consumers in ('', 'general', 'vulnerable')),
  shelf_life_days int,
  version         int not null default 1,
  primary key (plant_id, product_id),
  constraint product_code unique (plant_id, code)
);

-- A lot that something named before anyone registered it has only a code.
create table lot (
  plant_id      int not null references plant,
  lot_id        bigint generated always as identity,
  code          text not null,
  product_id    int,
  made_at       timestamptz,
  made_from     timestamptz,
  made_until    timestamptz constraint lot_made_order check (made_until >= made_from),
  quantity      numeric constraint lot_quantity_not_negative check (quantity >= 0),
  quantity_unit text,
  registered    boolean not null,
  version       int not null default 1,
  primary key (plant_id, lot_id),
  constraint lot_code unique (plant_id, code),
  constraint lot_quantity_has_unit check ((quantity is null) = (quantity_unit is null)),
  foreign key (plant_id, product_id) references product (plant_id, product_id)
);

-- The unit of disposition. A whole lot is one portion from the day it is known.
create table portion (
  plant_id   int not null,
  portion_id bigint generated always as identity,
  lot_id     bigint not null,
  label      text not null default '',
  state      text not null default 'free' constraint portion_state check (state in ('free', 'on_hold')),
  version    int not null default 1,
  primary key (plant_id, portion_id),
  constraint portion_label unique (plant_id, lot_id, label),
  foreign key (plant_id, lot_id) references lot (plant_id, lot_id)
);

create table stay (
  plant_id    int not null,
  stay_id     bigint generated always as identity,
  lot_id      bigint not null,
  location_id int not null,
  stayed_from timestamptz not null,
  stayed_to   timestamptz constraint stay_order check (stayed_to >= stayed_from),
  recorded_at timestamptz not null,
  primary key (plant_id, stay_id),
  constraint stay_once unique (plant_id, lot_id, location_id, stayed_from),
  foreign key (plant_id, lot_id) references lot (plant_id, lot_id),
  foreign key (plant_id, location_id) references location (plant_id, location_id)
);
create index stay_location_idx on stay (plant_id, location_id, stayed_from);

create table transformation (
  plant_id        int not null,
  input_lot_id    bigint not null,
  output_lot_id   bigint not null,
  event           text not null,
  at              timestamptz not null,
  input_quantity  numeric constraint transformation_input_not_negative check (input_quantity >= 0),
  output_quantity numeric constraint transformation_output_not_negative check (output_quantity >= 0),
  quantity_unit   text,
  recorded_at     timestamptz not null,
  primary key (plant_id, input_lot_id, output_lot_id, event),
  constraint transformation_not_itself check (input_lot_id <> output_lot_id),
  foreign key (plant_id, input_lot_id) references lot (plant_id, lot_id),
  foreign key (plant_id, output_lot_id) references lot (plant_id, lot_id)
);
create index transformation_output_idx on transformation (plant_id, output_lot_id, input_lot_id);

create table shipment (
  plant_id      int not null,
  lot_id        bigint not null,
  shipment      text not null,
  quantity      numeric constraint shipment_quantity_not_negative check (quantity >= 0),
  quantity_unit text,
  shipped_at    timestamptz not null,
  consignee     text not null,
  recorded_at   timestamptz not null,
  primary key (plant_id, lot_id, shipment),
  foreign key (plant_id, lot_id) references lot (plant_id, lot_id)
);

-- +goose StatementBegin
do $$
declare t text;
begin
  foreach t in array array['product', 'lot', 'portion', 'stay', 'transformation', 'shipment'] loop
    call keep_to_plant(t::regclass);
    execute format('grant select, insert on %I to lastgood_application', t);
  end loop;
  call make_append_only('transformation');
  call make_append_only('shipment');
end $$;
-- +goose StatementEnd
grant update on product, lot, portion, stay to lastgood_application;
