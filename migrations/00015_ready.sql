-- +goose Up
-- Answers as they are sent, made when they are first asked for. They can be made
-- again from the rest at any time, so that a crash of the server may empty the
-- table: unlogged, it costs no log.
create unlogged table ready_answers (
    account  uuid not null references accounts (id) on delete cascade,
    project  uuid not null,        -- no foreign key: keeping an answer must not wait for a plan
    name     text not null,
    language text not null,        -- asked for; empty: the project's own
    basis    text not null,        -- which version of the project's row in due_projects it was made by
    tag      text not null,
    since    timestamptz,          -- what the age in it counts from; null: there is none in it
    made_at  timestamptz not null,
    until    timestamptz not null, -- the clock alone changes it then
    plain    bytea not null,       -- both in the form of internal/ready
    packed   bytea not null,
    primary key (account, project, name, language)
);
-- Compressed or not, the bytes are sent as they are.
alter table ready_answers alter column plain set storage external, alter column packed set storage external;
alter table ready_answers enable row level security;
alter table ready_answers force row level security;
create policy own on ready_answers
    using (account = nullif(current_setting('dryslot.account', true), '')::uuid)
    with check (account = nullif(current_setting('dryslot.account', true), '')::uuid);

-- +goose Down
drop table ready_answers;
