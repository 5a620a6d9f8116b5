-- +goose Up
-- Keys of the service itself, made once and kept. They belong to no account.
create table service_keys (
    name text primary key,
    key  text not null -- secret
);

-- +goose Down
drop table service_keys;
