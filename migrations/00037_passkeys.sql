-- +goose Up
-- Signing in by passkeys (W3C Web Authentication).

-- A public key whose private key a person's device holds.
create table passkeys (
    account         uuid not null references accounts (id) on delete cascade,
    id              bytea not null unique check (length(id) between 1 and 1023), -- that the device gave it
    name            text not null,  -- that the account gave it
    public_key      bytea not null, -- COSE (RFC 9052)
    sign_count      bigint not null, -- of the device, at its last use; 0 for ever where it counts nothing
    backup_eligible boolean not null, -- it may be copied to other devices of its owner
    backed_up       boolean not null, -- it is
    transports      text[] not null, -- how the device is reached
    created_at      timestamptz not null,
    used_at         timestamptz, -- null: never yet
    primary key (account, id)
);
alter table passkeys enable row level security;
alter table passkeys force row level security;
create policy own on passkeys
    using (account = nullif(current_setting('dryslot.account', true), '')::uuid)
    with check (account = nullif(current_setting('dryslot.account', true), '')::uuid);

-- SHA-256 of what a device is asked to sign. Using it deletes it.
create table passkey_challenges (
    digest     bytea primary key check (length(digest) = 32),
    account    uuid references accounts (id) on delete cascade, -- that gets a passkey; null: somebody signs in
    expires_at timestamptz not null
);
create index passkey_challenges_account on passkey_challenges (account);
create index passkey_challenges_expires_at on passkey_challenges (expires_at);

-- Sessions end with the passkey that began them.
alter table sessions
    add column passkey bytea, -- that began it; null: something else did
    add foreign key (account, passkey) references passkeys (account, id) on delete cascade;
create index sessions_passkey on sessions (account, passkey) where passkey is not null;

-- +goose Down
alter table sessions drop column passkey;
drop table passkey_challenges, passkeys;
