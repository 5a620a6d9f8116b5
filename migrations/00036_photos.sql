-- +goose Up
-- Photos of log entries, without place and time. They go with their project.
create table photos (
    account uuid not null,
    id      uuid not null,
    project uuid not null,
    made_at timestamptz not null default now(),
    width   integer not null check (width > 0),
    height  integer not null check (height > 0),
    jpeg    bytea not null,
    primary key (account, id),
    foreign key (account, project) references projects (account, id) on delete cascade
);
create index photos_project on photos (account, project);
alter table photos enable row level security;
alter table photos force row level security;

-- As of log entries: a viewer sees, a crew adds, and nothing is changed.
-- +goose StatementBegin
do $$
declare
    own    constant text := 'nullif(current_setting(''dryslot.account'', true), '''')::uuid';
    member constant text := 'nullif(current_setting(''dryslot.member'', true), '''')::uuid';
    here   constant text := 'nullif(current_setting(''dryslot.project'', true), '''')::uuid';
    may    text;
begin
    may := format('(select m.role from members m
        where m.account = %s and m.project = %s and m.member = %s)', own, here, member);
    execute format('create policy seen on photos for select
        using (account = %s and (%s is null or project = %s and %s is not null))',
        own, member, here, may);
    execute format('create policy added on photos for insert
        with check (account = %s and (%s is null or project = %s and %s in (''owner'', ''crew'')))',
        own, member, here, may);
end $$;
-- +goose StatementEnd

-- +goose Down
drop table photos;
