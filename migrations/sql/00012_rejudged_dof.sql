-- The degrees of freedom of a reference's uncertainty, as a certificate that
-- became known late states them: without them a few points fitted by a line
-- counted as certain as many. 0: so many that it makes no difference. Null: judged
-- anew before they were kept, or by the previous release; those of the point as it
-- was recorded stand. Safe on live data: a new column that may be empty.

-- +goose Up

alter table check_point_rejudged
  add column reference_dof double precision
    constraint check_point_rejudged_dof check (reference_dof >= 0 and reference_dof < 'Infinity');
