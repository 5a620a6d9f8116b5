-- +goose Up
-- Members of a project: accounts beside the one that made it, each with a role.

create table members (
    account uuid not null, -- that made the project
    project uuid not null,
    member  uuid not null references accounts (id) on delete cascade,
    role    text not null check (role in ('owner', 'crew', 'viewer')),
    name    text not null, -- that the others know the member by
    since   timestamptz not null default now(),
    primary key (account, project, member),
    foreign key (account, project) references projects (account, id) on delete cascade
);
create index members_member on members (member);

-- Links by which others become members, until they expire or are withdrawn.
create table invitations (
    account    uuid not null,
    id         uuid not null,
    project    uuid not null,
    role       text not null check (role in ('owner', 'crew', 'viewer')),
    created_at timestamptz not null default now(),
    expires_at timestamptz not null,
    primary key (account, id),
    foreign key (account, project) references projects (account, id) on delete cascade
);
create index invitations_project on invitations (account, project);

-- SHA-256 of the key in a link.
create table invitation_keys (
    digest     bytea primary key check (length(digest) = 32),
    account    uuid not null,
    invitation uuid not null,
    foreign key (account, invitation) references invitations (account, id) on delete cascade
);
create index invitation_keys_invitation on invitation_keys (account, invitation);

-- Whoever works as a member names the account that made the project in
-- dryslot.account, as before, and itself and the project in dryslot.member and
-- dryslot.project. It then sees that project alone, for as long as it is a member,
-- and changes what its role allows: a viewer nothing, a crew what follows from
-- its log entries, an owner the project and its recipients too.
-- +goose StatementBegin
do $$
declare
    own    constant text := 'nullif(current_setting(''dryslot.account'', true), '''')::uuid';
    member constant text := 'nullif(current_setting(''dryslot.member'', true), '''')::uuid';
    here   constant text := 'nullif(current_setting(''dryslot.project'', true), '''')::uuid';
    may    text;
    t      text;
    which  text;
    writes text;
begin
    may := format('(select m.role from members m
        where m.account = %s and m.project = %s and m.member = %s)', own, here, member);

    foreach t in array array['members', 'invitations'] loop
        execute format('alter table %I enable row level security', t);
        execute format('alter table %I force row level security', t);
    end loop;
    execute format('create policy seen on members for select'
        ' using (account = %s and (%s is null or project = %s) or member = %s)', own, member, here, own);
    execute format('create policy added on members for insert with check (account = %s and %s is null)', own, member);
    execute format('create policy changed on members for update using (account = %s and %s is null)', own, member);
    execute format('create policy removed on members for delete'
        ' using (%s is null and (account = %s or member = %s))', member, own, own);
    execute format('create policy own on invitations using (account = %s and %s is null)', own, member);

    -- What is no member's.
    foreach t in array array['accounts', 'session_browsers', 'token_names', 'account_mails'] loop
        execute format('drop policy own on %I', t);
        execute format('create policy own on %I using (%s = %s and %s is null)',
            t, case t when 'accounts' then 'id' else 'account' end, own, member);
    end loop;

    foreach t in array array['projects', 'log_entries', 'plans', 'plan_mornings', 'recipients', 'deliveries', 'answers',
                             'day_steps', 'alert_events', 'ready_answers'] loop
        which := case t when 'projects' then 'id = ' || here when 'answers' then 'true' else 'project = ' || here end;
        writes := case when t in ('projects', 'recipients') then '(''owner'')' else '(''owner'', ''crew'')' end;
        execute format('drop policy own on %I', t);
        execute format('create policy seen on %I for select
            using (account = %s and (%s is null or %s and %s is not null))',
            t, own, member, which, may);
        execute format('create policy added on %I for insert
            with check (account = %s and (%s is null or %s and %s in %s))',
            t, own, member, which, may, writes);
        -- Who may not change a project locks its row all the same.
        execute format('create policy changed on %I for update
            using (account = %s and (%s is null or %s and %s in (''owner'', ''crew'')))'
            ' with check (account = %s and (%s is null or %s and %s in %s))',
            t, own, member, which, may, own, member, which, may, writes);
        execute format('create policy removed on %I for delete
            using (account = %s and (%s is null or %s and %s in %s))',
            t, own, member, case t when 'projects' then 'false' else which end, may, writes);
    end loop;
end $$;
-- +goose StatementEnd

-- +goose Down
-- +goose StatementBegin
do $$
declare
    own constant text := 'nullif(current_setting(''dryslot.account'', true), '''')::uuid';
    t   text;
begin
    foreach t in array array['accounts', 'session_browsers', 'token_names', 'account_mails', 'projects',
        'log_entries', 'plans', 'plan_mornings', 'recipients', 'deliveries', 'answers', 'day_steps', 'alert_events',
        'ready_answers'] loop
        execute format('drop policy if exists own on %I', t);
        execute format('drop policy if exists seen on %I', t);
        execute format('drop policy if exists added on %I', t);
        execute format('drop policy if exists changed on %I', t);
        execute format('drop policy if exists removed on %I', t);
        execute format('create policy own on %I
            using (%s = %s)', t, case t when 'accounts' then 'id' else 'account' end, own);
    end loop;
end $$;
-- +goose StatementEnd
drop table invitation_keys, invitations, members;
