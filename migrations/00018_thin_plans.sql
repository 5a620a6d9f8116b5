-- +goose Up
-- Plans that were followed by another thin out: those of the last seven days
-- stay, of the days before each day's last, and after ninety days the current
-- one alone. The service may delete no plan by itself; this deletes none that is
-- in force, and none of another account's.
-- +goose StatementBegin
create function thin_plans(of_project uuid, at timestamptz) returns void
    language sql security definer set search_path from current as $$
    delete from plans p
    where p.account = nullif(current_setting('dryslot.account', true), '')::uuid and p.project = of_project
      and p.made_at < least(at, now()) - interval '7 days'
      and exists (select from plans q where q.account = p.account and q.project = p.project and q.version > p.version
          and ((q.made_at at time zone 'UTC')::date = (p.made_at at time zone 'UTC')::date
               or p.made_at < least(at, now()) - interval '90 days'))
$$;
-- +goose StatementEnd
revoke all on function thin_plans(uuid, timestamptz) from public;

-- +goose Down
drop function thin_plans;
