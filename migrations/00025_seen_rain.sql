-- +goose Up
-- Rain that builders logged, by who saw it, so that each account has one voice
-- in a cell, and so that what is undone goes. Weather is public: the account and
-- the project are digests here. The version before goes on with logged_rain,
-- whose rows count as one more observer until they are forgotten.
create table seen_rain (
    cell     text not null,
    hour     timestamptz not null,
    project  bytea not null,            -- a digest
    observer bytea not null,            -- a digest of the account
    mm       double precision not null check (mm >= 0),
    primary key (cell, hour, project)
);
create index seen_rain_hour on seen_rain (hour);
create index seen_rain_project on seen_rain (project, hour);

-- +goose Down
drop table seen_rain;
