-- +goose Up
-- The day itself.

-- The steps of the plan that a crew follows, of yesterday, today and tomorrow:
-- those begun stay when the plan is made again. One row a project.
create table day_steps (
    account uuid not null,
    project uuid not null,
    steps   jsonb not null,
    primary key (account, project),
    foreign key (account, project) references projects (account, id) on delete cascade
);
alter table day_steps enable row level security;
alter table day_steps force row level security;
create policy own on day_steps
    using (account = nullif(current_setting('dryslot.account', true), '')::uuid)
    with check (account = nullif(current_setting('dryslot.account', true), '')::uuid);

-- How often the cause of an alert has begun to hold on a date, and until when it
-- did: the number makes one alert one.
create table alert_events (
    account    uuid not null,
    project    uuid not null,
    date       date not null,
    kind       text not null,
    number     int not null check (number >= 1),
    holds      boolean not null,
    held_until timestamptz not null,
    primary key (account, project, date, kind),
    foreign key (account, project) references projects (account, id) on delete cascade
);
alter table alert_events enable row level security;
alter table alert_events force row level security;
create policy own on alert_events
    using (account = nullif(current_setting('dryslot.account', true), '')::uuid)
    with check (account = nullif(current_setting('dryslot.account', true), '')::uuid);

-- Which kinds of alert a recipient wants; null: all.
alter table recipients add column alerts text[];

-- The newest short-range product of each cell. Weather is public and belongs to
-- no account.
create table short_ranges (
    cell          text primary key,
    product       jsonb,                 -- null: none yet
    tried_at      timestamptz not null,
    next_fetch_at timestamptz not null,
    trouble       text not null default ''
);

-- +goose Down
drop table short_ranges, alert_events, day_steps;
alter table recipients drop column alerts;
