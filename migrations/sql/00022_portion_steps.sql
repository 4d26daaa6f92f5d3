-- What may become of a portion, and that a lifted hold stays as it is: the written
-- procedure, where no statement gets past it. Safe on live data: refuses steps
-- that no release has taken.

-- +goose Up

-- +goose StatementBegin
create function refuse_portion_step() returns trigger language plpgsql as $$
begin
  if new.state <> old.state and (old.state, new.state) not in (
    ('free', 'on_hold'), ('released', 'on_hold'), ('on_hold', 'free'), ('decided', 'free'),
    ('on_hold', 'under_test'), ('decided', 'under_test'), ('under_test', 'on_hold'), ('under_test', 'decided'),
    ('on_hold', 'decided'), ('free', 'decided'), ('released', 'decided'), ('retrieved', 'decided'), ('decided', 'on_hold'),
    ('decided', 'released'), ('decided', 'reworked'), ('decided', 'reprocessed'), ('decided', 'diverted'), ('decided', 'destroyed'),
    ('decided', 'retrieved'), ('decided', 'accounted_unrecoverable'))
  then
    raise exception 'a portion that is % does not become %', old.state, new.state using errcode = 'restrict_violation', constraint = 'portion_step';
  end if;
  return new;
end $$;
-- +goose StatementEnd
create trigger portion_step before update on portion for each row execute function refuse_portion_step();

-- +goose StatementBegin
create function refuse_lifted_hold() returns trigger language plpgsql as $$
begin
  if old.lifted_at is not null and new is distinct from old then
    raise exception 'a lifted hold stays as it is' using errcode = 'restrict_violation', constraint = 'hold_lifted_stays';
  end if;
  return new;
end $$;
-- +goose StatementEnd
create trigger hold_lifted_stays before update on hold for each row execute function refuse_lifted_hold();
