-- +goose Up
-- What serves to find an account: no row-level security, so ids and digests only.

create table accounts (
    id         uuid primary key,
    created_at timestamptz not null default now()
);
alter table accounts enable row level security;
alter table accounts force row level security;
create policy own on accounts
    using (id = nullif(current_setting('dryslot.account', true), '')::uuid)
    with check (id = nullif(current_setting('dryslot.account', true), '')::uuid);

-- SHA-256 of a bearer token. A token has 32 characters or more at random, so
-- that a plain digest can't be searched.
create table tokens (
    digest     bytea primary key check (length(digest) = 32),
    account    uuid not null references accounts (id) on delete cascade,
    created_at timestamptz not null default now()
);
create index tokens_account on tokens (account);

-- SHA-256 of the key in a signed-in browser's cookie.
create table sessions (
    digest     bytea primary key check (length(digest) = 32),
    account    uuid not null references accounts (id) on delete cascade,
    expires_at timestamptz not null
);
create index sessions_account on sessions (account);
create index sessions_expires_at on sessions (expires_at);

-- +goose Down
drop table sessions, tokens, accounts;
