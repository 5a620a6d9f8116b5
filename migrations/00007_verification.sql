-- +goose Up
-- How forecasts proved. Weather is public and belongs to no account.

-- The chances that each forecast stated, an hour a byte: what is left of it
-- for verifying once its document has gone.
create table stated_chances (
    forecast      bigint primary key,
    cell          text not null,
    stated_of     text not null,        -- whose chances of what
    wet_over_mm   double precision not null,
    wet_hours     int not null check (wet_hours between 1 and 24),
    members       boolean not null,     -- shares of an ensemble's members
    stated_at     timestamptz not null, -- that leads count from
    first_hour    timestamptz not null,
    chances       bytea not null,       -- in steps of 1/200; 255: none
    recalibration jsonb                 -- used with this forecast; null: none
);
create index stated_chances_cell on stated_chances (cell, stated_at);
create index stated_chances_at on stated_chances (stated_at);

-- What came of them, by cell, and everywhere in one row for each event.
create table verifications (
    scope     text not null,            -- a cell, or everywhere
    stated_of text not null,
    until     timestamptz,              -- hours that begin before are counted; null: none
    rain_from timestamptz,
    rain      double precision[],       -- mm an hour from rain_from on; null: unknown
    counts    jsonb not null,
    primary key (scope, stated_of)
);

-- Rain that builders logged, without whose it was.
create table logged_rain (
    cell text not null,
    hour timestamptz not null,
    mm   double precision not null check (mm >= 0),
    primary key (cell, hour)
);
create index logged_rain_hour on logged_rain (hour);

-- +goose Down
drop table logged_rain, verifications, stated_chances;
