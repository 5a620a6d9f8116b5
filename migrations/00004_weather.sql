-- +goose Up
-- Weather is public and belongs to no account.

-- One row a cell of the forecast grid: how its fetching stands.
create table cells (
    cell          text primary key,
    latitude      double precision not null check (latitude between -90 and 90),
    longitude     double precision not null check (longitude between -180 and 180),
    forecast      bigint,                  -- the newest; null: none yet
    next_fetch_at timestamptz not null,
    last_tried_at timestamptz,             -- null: never
    held_until    timestamptz,             -- handed out a moment ago
    leased_until  timestamptz,             -- a fetch is under way until then
    failures      int not null default 0,  -- in a row
    trouble       text not null default '',
    validator     text not null default ''
);
create index cells_next_fetch_at on cells (next_fetch_at);

-- One row a feed: its limits and its circuit, for all workers.
create table feed_states (
    feed  text primary key,
    state jsonb not null
);

-- Forecasts, whole and never altered. Partitioned by the time of the fetch:
-- one partition holds everything until an operator adds ranges of a day, such as
--   create table forecasts_20270101 partition of forecasts for values from ('2027-01-01') to ('2027-01-02');
-- and drops old ones, which the service's own pruning then finds empty.
create sequence forecast_ids;
create table forecasts (
    id          bigint not null default nextval('forecast_ids'),
    cell        text not null,
    feed        text not null,
    issued_at   timestamptz,               -- null: the document does not say
    fetched_at  timestamptz not null,
    attribution text not null,
    document    bytea not null,            -- gzip of the JSON in internal/postgres/document.go
    primary key (id, fetched_at)
) partition by range (fetched_at);
create table forecasts_rest partition of forecasts default;
create index forecasts_fetched_at on forecasts (fetched_at);

-- +goose Down
drop table forecasts, feed_states, cells;
drop sequence forecast_ids;
