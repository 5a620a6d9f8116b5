-- +goose Up
-- A forecast that was asked for again and is still the newest is not kept twice.
alter table cells add column confirmed_at timestamptz; -- null: not since it was fetched

-- Nothing is left to pour: newer weather changes no such plan.
alter table due_projects add column finished_at timestamptz; -- null: something is left

-- +goose Down
alter table due_projects drop column finished_at;
alter table cells drop column confirmed_at;
