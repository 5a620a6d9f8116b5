-- +goose Up
-- Why a fetch or a delivery failed, as codes with their figures beside the text:
-- {"text": the text, "data": [{"code", "figures"}]}. Null, or of another text:
-- the row was written by a version that stores the text alone.
alter table cells add column trouble_data jsonb;
alter table deliveries add column reason_data jsonb;

-- +goose Down
alter table cells drop column trouble_data;
alter table deliveries drop column reason_data;
