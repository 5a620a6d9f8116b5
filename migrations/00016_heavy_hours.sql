-- +goose Up
-- What a forecast stated of heavy rain.

-- The share of heavy hours among the wet ones, a byte an hour like the chances;
-- null: the forecast stated none, or was kept by a version that did not read it.
alter table stated_chances add column heavy bytea;

-- +goose Down
alter table stated_chances drop column heavy;
