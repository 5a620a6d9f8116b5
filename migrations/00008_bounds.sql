-- +goose Up
-- What grows with every look at the weather is kept once, and what is to be
-- forgotten can be found in small parts.

-- The scored mornings of each project's current plan. They are seven times as
-- large as the plan, and nobody reads those of a plan that was followed by
-- another; so there is one row a project, which the next plan takes over.
create table plan_mornings (
    account  uuid not null,
    project  uuid not null,
    version  int not null,    -- of the plan
    forecast bigint not null, -- scored from; it may be newer than the one that the plan was first made from
    mornings bytea not null,  -- gzip of their JSON
    primary key (account, project),
    foreign key (account, project, version) references plans (account, project, version) on delete cascade
);

-- The rows of all accounts are moved by their owner, who is under row-level
-- security as well.
alter table plans no force row level security;
insert into plan_mornings
select distinct on (account, project) account, project, version, forecast, mornings
from plans order by account, project, version desc;
alter table plans force row level security;

alter table plan_mornings enable row level security;
alter table plan_mornings force row level security;
create policy own on plan_mornings
    using (account = nullif(current_setting('dryslot.account', true), '')::uuid)
    with check (account = nullif(current_setting('dryslot.account', true), '')::uuid);

-- A dropped column keeps its room until its row is written again; an
-- expression that is more than the column has every row written.
-- A service of before reads the column, and does not plan beside a newer one.
alter table plans drop column mornings, alter column changes type jsonb using changes #> '{}';

-- Accounts of which something is to be forgotten: no row-level security, so
-- ids and times only.
create table due_accounts (
    account   uuid primary key references accounts (id) on delete cascade,
    forget_at timestamptz not null
);
create index due_accounts_forget_at on due_accounts (forget_at);
alter table answers no force row level security;
insert into due_accounts select account, min(kept_at) + interval '24 hours' from answers group by account;
alter table answers force row level security;

-- Pruning asks of each old forecast whether a cell still has it.
create index cells_forecast on cells (forecast);

-- Whichever comes first makes a project due: one index in that order serves
-- where two would have to be read whole and sorted.
create index due_projects_next on due_projects (least(next_alert_at, next_plan_at));
drop index due_projects_next_alert_at, due_projects_next_plan_at;

-- +goose Down
create index due_projects_next_alert_at on due_projects (next_alert_at);
create index due_projects_next_plan_at on due_projects (next_plan_at);
drop index due_projects_next, cells_forecast;
drop table due_accounts;
alter table plans add column mornings bytea not null
    default '\x1f8b0800000000000403cb2bcdc9e102006e9191d405000000'; -- gzip of JSON's null
alter table plans alter column mornings drop default, no force row level security;
alter table plan_mornings no force row level security;
update plans p set mornings = m.mornings, forecast = m.forecast from plan_mornings m
where (p.account, p.project, p.version) = (m.account, m.project, m.version);
alter table plans force row level security;
drop table plan_mornings;
