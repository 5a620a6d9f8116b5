-- +goose Up
-- What the day's own alerts are kept with.
alter table deliveries
    add column occasions    text[] not null default '{}',    -- of the date, that the message tells of
    add column any_hour     boolean not null default false,  -- the quiet time does not hold it back
    add column urgent       boolean not null default false,
    add column link         text not null default '',        -- to the page of the project
    add column of_use_until timestamptz,                     -- null: as long as its cause holds
    add column actions      jsonb not null default '[]';     -- entries of the log that answer it
create index deliveries_day on deliveries (account, project, date) where occasions <> '{}';

-- +goose Down
alter table deliveries drop column occasions, drop column any_hour, drop column urgent, drop column link,
    drop column of_use_until, drop column actions;
