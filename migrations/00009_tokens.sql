-- +goose Up
-- A token can be revoked. It stays, so that a service that is still set up with
-- it does not make a new account of it.
alter table tokens add column revoked_at timestamptz; -- null: it opens its account

-- +goose Down
delete from tokens where revoked_at is not null; -- without the column it would open its account again
alter table tokens drop column revoked_at;
