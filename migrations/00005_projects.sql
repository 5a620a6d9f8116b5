-- +goose Up
-- What belongs to one account. Every key and foreign key begins with the
-- account, so that no row can point at another account's.

create table projects (
    account      uuid not null references accounts (id) on delete cascade,
    id           uuid not null,
    seq          bigint generated always as identity, -- order of creation
    revision     bigint not null default 1 check (revision > 0),
    calendar_key text not null,
    created_at   timestamptz not null,
    spec         jsonb not null,
    primary key (account, id)
);
create index projects_seq on projects (account, seq);

-- Entries are only ever added.
create table log_entries (
    account     uuid not null,
    id          uuid not null,
    project     uuid not null,
    seq         bigint generated always as identity, -- order of recording
    pad         text not null,                       -- empty: every pad that it can be true of
    at          timestamptz not null,
    recorded_at timestamptz not null,
    entry       jsonb not null,
    primary key (account, id),
    foreign key (account, project) references projects (account, id) on delete cascade
);
create index log_entries_at on log_entries (account, project, at, seq);

-- Plans are only ever added; the current one has the highest version.
create table plans (
    account  uuid not null,
    project  uuid not null,
    version  int not null check (version > 0),
    made_at  timestamptz not null,
    forecast bigint not null,  -- 0: made before the first; it may be pruned meanwhile
    plan     jsonb not null,
    changes  jsonb not null,   -- against the version before, in words
    mornings bytea not null,   -- gzip of their JSON
    primary key (account, project, version),
    foreign key (account, project) references projects (account, id) on delete cascade
);

create table recipients (
    account    uuid not null,
    id         uuid not null,
    seq        bigint generated always as identity,
    project    uuid not null,
    kind       text not null,
    address    text not null,
    secret     text not null, -- signs a webhook's messages, so it has to be readable
    created_at timestamptz not null,
    primary key (account, id),
    foreign key (account, project) references projects (account, id) on delete cascade
);
create index recipients_project on recipients (account, project, seq);

-- One row per alert and recipient. The recipient may be gone: what was sent stays.
create table deliveries (
    account     uuid not null,
    key         text not null,
    seq         bigint generated always as identity,
    project     uuid not null,
    recipient   text not null,
    kind        text not null,
    date        date not null,
    message_id  text not null,
    subject     text not null,
    body        text not null,
    payload     bytea not null,
    due_at      timestamptz not null,
    state       text not null default 'due' check (state in ('due', 'retrying', 'sent', 'failed')),
    tries       int not null default 0,
    reason      text not null default '',
    next_try_at timestamptz,
    settled_at  timestamptz,
    primary key (account, key),
    foreign key (account, project) references projects (account, id) on delete cascade
);
create index deliveries_seq on deliveries (account, project, seq);

-- Answers kept for repeated requests, a day long.
create table answers (
    account   uuid not null references accounts (id) on delete cascade,
    route     text not null,
    key       text not null,
    body_hash bytea not null,
    status    int not null,
    header    jsonb not null,
    body      bytea not null,
    kept_at   timestamptz not null,
    primary key (account, route, key)
);
create index answers_kept_at on answers (account, kept_at);

-- +goose StatementBegin
do $$
declare t text;
begin
    foreach t in array array['projects', 'log_entries', 'plans', 'recipients', 'deliveries', 'answers'] loop
        execute format('alter table %I enable row level security', t);
        execute format('alter table %I force row level security', t);
        execute format('create policy own on %I'
            ' using (account = nullif(current_setting(''dryslot.account'', true), '''')::uuid)'
            ' with check (account = nullif(current_setting(''dryslot.account'', true), '''')::uuid)', t);
    end loop;
end $$;
-- +goose StatementEnd

-- +goose Down
drop table answers, deliveries, recipients, plans, log_entries, projects;
