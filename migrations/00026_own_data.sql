-- +goose Up
-- Deletes an account with everything that is kept of it: what names it and
-- belongs to no account, then its row, with which the rest goes. Whoever calls
-- it has to work as that account, and not as a member of another's project.
-- +goose StatementBegin
create function delete_account(which uuid) returns void
    language plpgsql security definer set search_path from current as $$
begin
    if which is distinct from nullif(current_setting('dryslot.account', true), '')::uuid
        or nullif(current_setting('dryslot.member', true), '') is not null then
        raise exception 'only an account itself is deleted' using errcode = 'insufficient_privilege';
    end if;
    delete from river_job where args ->> 'account' = which::text;
    delete from seen_rain where observer = sha256(convert_to(which::text, 'UTF8'));
    delete from accounts where id = which;
end $$;
-- +goose StatementEnd
revoke all on function delete_account(uuid) from public;

-- Links that give out everything kept of an account, once. SHA-256 of a link's
-- key, which is 256 bits at random. Using it deletes it.
create table archive_links (
    digest     bytea primary key check (length(digest) = 32),
    account    uuid not null references accounts (id) on delete cascade,
    expires_at timestamptz not null
);
create index archive_links_account on archive_links (account);
create index archive_links_expires_at on archive_links (expires_at);

-- +goose Down
drop table archive_links;
drop function delete_account;
