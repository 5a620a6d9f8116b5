-- +goose Up
-- Signing in by a link that is mailed to an account's address.

-- The address that links are mailed to.
create table account_mails (
    account uuid primary key references accounts (id) on delete cascade,
    address text not null -- in small letters
);
alter table account_mails enable row level security;
alter table account_mails force row level security;
create policy own on account_mails
    using (account = nullif(current_setting('dryslot.account', true), '')::uuid)
    with check (account = nullif(current_setting('dryslot.account', true), '')::uuid);

-- SHA-256 of the same address, by which the account is found.
create table mail_keys (
    digest  bytea primary key check (length(digest) = 32),
    account uuid not null unique references accounts (id) on delete cascade
);

-- SHA-256 of a mailed link's key together with the address that it was mailed
-- to. Using it deletes it.
create table mail_links (
    digest     bytea primary key check (length(digest) = 32),
    account    uuid references accounts (id) on delete cascade, -- that it opens; null: it makes one
    expires_at timestamptz not null
);
create index mail_links_account on mail_links (account);
create index mail_links_expires_at on mail_links (expires_at);

-- Links that are still to be mailed. The key is made when the mail leaves, so
-- that it lies nowhere.
create table mail_orders (
    id         uuid primary key,
    address    text not null,
    language   text not null,
    next       text not null, -- page to go to
    opens      uuid references accounts (id) on delete cascade, -- null: an account is made
    expires_at timestamptz not null
);
create index mail_orders_opens on mail_orders (opens);
create index mail_orders_expires_at on mail_orders (expires_at);

-- +goose Down
drop table mail_orders, mail_links, mail_keys, account_mails;
