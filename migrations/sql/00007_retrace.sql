-- Which deviations are due for a new trace run, in every plant: the server looks
-- before it knows a plant. Safe on live data: makes new things only.

-- +goose Up

create index deviation_due_idx on deviation (plant_id, deviation_id) where retrace_due is not null;

-- +goose StatementBegin
create function due_deviations() returns table (plant_id int, deviation_id bigint)
  language sql stable security definer set search_path = public as $$
  select plant_id, deviation_id from deviation where retrace_due is not null order by retrace_due, plant_id, deviation_id
$$;
-- +goose StatementEnd
revoke all on function due_deviations() from public;
grant execute on function due_deviations() to lastgood_application;
