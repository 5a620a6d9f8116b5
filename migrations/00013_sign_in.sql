-- +goose Up
-- Links that sign in once, what tells sessions and tokens apart, and how often
-- signing in failed. What serves to find an account has no row-level security,
-- so digests, ids and times only; the names stand in tables of their own.

-- SHA-256 of a link's key, which is 256 bits at random. Using it deletes it.
create table sign_in_links (
    digest     bytea primary key check (length(digest) = 32),
    account    uuid not null references accounts (id) on delete cascade,
    expires_at timestamptz not null
);
create index sign_in_links_expires_at on sign_in_links (expires_at);

alter table sessions
    add column created_at timestamptz not null default now(),
    add column token      bytea references tokens (digest) on delete cascade, -- that began it; null: a link did
    add unique (account, digest);
alter table tokens add unique (account, digest);

-- What a browser says that it is.
create table session_browsers (
    account uuid not null,
    digest  bytea not null,
    browser text not null,
    primary key (account, digest),
    foreign key (account, digest) references sessions (account, digest) on delete cascade
);
alter table session_browsers enable row level security;
alter table session_browsers force row level security;
create policy own on session_browsers
    using (account = nullif(current_setting('dryslot.account', true), '')::uuid)
    with check (account = nullif(current_setting('dryslot.account', true), '')::uuid);

-- What the account calls a token.
create table token_names (
    account uuid not null,
    digest  bytea not null,
    name    text not null,
    primary key (account, digest),
    foreign key (account, digest) references tokens (account, digest) on delete cascade
);
alter table token_names enable row level security;
alter table token_names force row level security;
create policy own on token_names
    using (account = nullif(current_setting('dryslot.account', true), '')::uuid)
    with check (account = nullif(current_setting('dryslot.account', true), '')::uuid);

-- The service may revoke a token, and never have it open its account again.
-- +goose StatementBegin
create function tokens_stay_revoked() returns trigger language plpgsql as $$
begin
    raise exception 'a revoked token stays revoked' using errcode = 'check_violation';
end $$;
-- +goose StatementEnd
create trigger stay_revoked before update on tokens for each row
    when (old.revoked_at is not null and new.revoked_at is distinct from old.revoked_at)
    execute function tokens_stay_revoked();

-- SHA-256 of what signing in failed for: a network address or an account.
create table sign_in_failures (
    digest   bytea primary key check (length(digest) = 32),
    failures int not null,
    last_at  timestamptz not null
);
create index sign_in_failures_last_at on sign_in_failures (last_at);

-- +goose Down
drop table sign_in_failures, sign_in_links, session_browsers, token_names;
drop trigger stay_revoked on tokens;
drop function tokens_stay_revoked;
alter table tokens drop constraint tokens_account_digest_key;
alter table sessions drop constraint sessions_account_digest_key, drop column created_at, drop column token;
