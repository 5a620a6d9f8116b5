-- +goose Up
-- Projects that wait for a new plan. Ids and times only: workers look through
-- it for any account. Accounts take turns: a project's turn is one above that
-- of its account's last, so that an account with many waits behind its own.
create table plan_queue (
    account      uuid not null,
    project      uuid not null,
    turn         bigint not null,                            -- the lowest is next
    seq          bigint generated always as identity,        -- between equal turns: who came first
    asked        bigint not null default 1,                  -- how often; one asked for while it is made is made again
    tries        int not null default 0,                     -- that failed, in a row
    free_at      timestamptz not null default clock_timestamp(), -- under way, or waiting to be tried again, until then
    because      text not null,                              -- what called for it, without names
    primary key (account, project),
    foreign key (account, project) references projects (account, id) on delete cascade
);
create index plan_queue_next on plan_queue (turn, seq);
create index plan_queue_account on plan_queue (account, turn);

-- +goose Down
drop table plan_queue;
