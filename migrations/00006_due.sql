-- +goose Up
-- What workers look through to find work for any account: no row-level
-- security, so ids and times only.

-- SHA-256 of the secret part of a calendar's address.
create table calendar_keys (
    digest  bytea primary key check (length(digest) = 32),
    account uuid not null,
    project uuid not null,
    foreign key (account, project) references projects (account, id) on delete cascade
);
create index calendar_keys_project on calendar_keys (account, project);

create table due_projects (
    account       uuid not null,
    project       uuid not null,
    cell          text,        -- of the forecast that it plans from; null: none yet
    forecast      bigint,      -- that the current plan was made from
    next_alert_at timestamptz, -- null: never
    next_plan_at  timestamptz, -- null: never
    held_until    timestamptz, -- handed out a moment ago
    primary key (account, project),
    foreign key (account, project) references projects (account, id) on delete cascade
);
create index due_projects_cell on due_projects (cell);
create index due_projects_forecast on due_projects (forecast);
create index due_projects_next_alert_at on due_projects (next_alert_at);
create index due_projects_next_plan_at on due_projects (next_plan_at);

-- Deliveries that are neither sent nor failed.
create table due_deliveries (
    account      uuid not null,
    key          text not null,
    next_try_at  timestamptz not null,
    held_until   timestamptz, -- handed out a moment ago
    leased_until timestamptz, -- a try is under way until then
    primary key (account, key),
    foreign key (account, key) references deliveries (account, key) on delete cascade
);
create index due_deliveries_next_try_at on due_deliveries (next_try_at);

-- +goose Down
drop table due_deliveries, due_projects, calendar_keys;
