-- The Merkle log over the decision trail: its hashes, the checkpoints that were
-- signed of it, and what an operator said of a log that had gone back. Safe on
-- live data: makes new things only. What was already in line for the log is put
-- into it by the first server that has this.

-- +goose Up

-- The hash of the 2^level leaves from leaf idx * 2^level on, of every such run
-- that is full. Written with the leaves.
create table trail_hash (
  plant_id int not null references plant,
  level    int not null constraint trail_hash_level check (level between 0 and 62),
  idx      bigint not null constraint trail_hash_idx check (idx >= 0),
  hash     bytea not null constraint trail_hash_length check (length(hash) = 32),
  primary key (plant_id, level, idx)
);

-- What was signed of the log, as a signed note. restored counts how often the
-- log was let go on from an older state: each is a log of its own name.
create table checkpoint (
  plant_id  int not null references plant,
  restored  int not null constraint checkpoint_restored check (restored >= 0),
  size      bigint not null constraint checkpoint_size check (size > 0),
  root      bytea not null constraint checkpoint_root_length check (length(root) = 32),
  note      bytea not null, -- the text and its signature, as they are given out
  key       text not null,  -- the verifier key
  signed_at timestamptz not null,
  primary key (plant_id, restored, size)
);

-- That somebody said why the log is not what an outside witness had seen of it,
-- and let the server go on.
create table log_restored (
  plant_id    int not null references plant,
  restored    int not null constraint log_restored_positive check (restored > 0),
  witnessed   bytea not null, -- the checkpoint that the witness had
  size        bigint not null, -- of the log as it was found
  reason      text not null constraint log_restored_reason check (reason <> ''),
  accepted_at timestamptz not null,
  accepted_by text not null,
  primary key (plant_id, restored)
);

-- +goose StatementBegin
do $$
declare t text;
begin
  foreach t in array array['trail_hash', 'checkpoint', 'log_restored'] loop
    call keep_to_plant(t::regclass);
    execute format('grant select, insert on %I to lastgood_application', t);
    call make_append_only(t::regclass);
  end loop;
end $$;
-- +goose StatementEnd

-- Plants with entries that are not in the log yet (waiting), and with leaves
-- that no checkpoint covers.
-- +goose StatementBegin
create function due_log() returns table (plant_id int, waiting boolean)
  language sql stable security definer set search_path = public as $$
  select x.plant_id, x.waiting from (
    select p.plant_id, exists (select from trail_pending t where t.plant_id = p.plant_id) as waiting,
      (select max(l.tree_index) + 1 from trail_leaf l where l.plant_id = p.plant_id) as leaves,
      (select c.size from checkpoint c where c.plant_id = p.plant_id order by c.restored desc, c.size desc limit 1) as covered
    from plant p) x(plant_id, waiting, leaves, covered)
  where x.waiting or x.leaves is distinct from x.covered order by x.plant_id
$$;
-- +goose StatementEnd
revoke all on function due_log() from public;
grant execute on function due_log() to lastgood_application;
