-- +goose Up
-- A day under way is looked at often, and its cell's short-range product is
-- fetched often.

-- A crew is at work or concrete is soft, until then as was last seen; null: neither.
alter table due_projects add column live_until timestamptz;
create index due_projects_live_until on due_projects (live_until) where live_until is not null;

alter table short_ranges
    alter column tried_at drop not null,   -- null: never
    add column held_until timestamptz,     -- handed out a moment ago
    add column leased_until timestamptz,   -- a fetch is under way until then
    add column failures int not null default 0, -- in a row
    add column trouble_data jsonb;          -- as in cells
create index short_ranges_next_fetch_at on short_ranges (next_fetch_at);

-- +goose Down
drop index short_ranges_next_fetch_at;
alter table short_ranges drop column held_until, drop column leased_until, drop column failures,
    drop column trouble_data;
delete from short_ranges where tried_at is null;
alter table short_ranges alter column tried_at set not null;
alter table due_projects drop column live_until;
