-- +goose Up
-- What a forecast stated of amounts of rain.

-- The amount of each hour, a byte on a logarithmic scale (forecast.AmountStep);
-- null: the forecast stated none, or was kept by a version that did not read it.
alter table stated_chances add column amounts bytea;

-- +goose Down
alter table stated_chances drop column amounts;
