-- +goose Up
-- The reader of a mail address agrees before alerts go to it, and stops them by
-- the address of one page. Who was alerted before has been alerted long enough to
-- have said no; a row that the version before adds counts as agreed too.
alter table recipients
    add column confirmed_at timestamptz default now(), -- null: not yet
    add column stopped_at   timestamptz;               -- null: alerts are wanted

-- SHA-256 of the key in the page's address.
create table recipient_keys (
    digest    bytea primary key check (length(digest) = 32),
    account   uuid not null,
    recipient uuid not null,
    foreign key (account, recipient) references recipients (account, id) on delete cascade
);
create index recipient_keys_recipient on recipient_keys (account, recipient);

-- The same words as in body, for what shows more than text.
alter table deliveries add column blocks jsonb; -- null: the text alone is kept

alter table recipients no force row level security; -- to see the rows of all accounts
update recipients set confirmed_at = created_at;
update recipients set secret = replace(gen_random_uuid()::text || gen_random_uuid()::text, '-', '')
    where kind = 'email' and secret = '';
insert into recipient_keys (digest, account, recipient)
    select sha256(convert_to(secret, 'UTF8')), account, id from recipients where kind = 'email';
alter table recipients force row level security;

-- +goose Down
alter table deliveries drop column blocks;
drop table recipient_keys;
alter table recipients drop column confirmed_at, drop column stopped_at;
