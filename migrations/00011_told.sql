-- +goose Up
-- What an alert told, for the next one to know: no longer read back from the
-- message that was sent.
alter table deliveries
    add column told_at      timestamptz, -- null: not known
    add column told_verdict text,
    add column told_start   timestamptz, -- of the planned pour; null: none was planned
    add column told_latest  timestamptz, -- when it could be begun at the latest; null: at told_start, or not known
    add column told_pads    text[];

-- A version before this one writes the message alone: the row is filled from it.
-- +goose StatementBegin
create function deliveries_told() returns trigger language plpgsql as $$
declare doc jsonb;
begin
    doc := convert_from(new.payload, 'UTF8')::jsonb;
    new.told_at := (doc ->> 'timestamp')::timestamptz;
    if new.told_at is null then
        return new;
    end if;
    new.told_verdict := doc -> 'data' ->> 'verdict';
    new.told_start := (doc -> 'data' ->> 'start')::timestamptz;
    new.told_latest := (doc -> 'data' ->> 'latest_start')::timestamptz;
    new.told_pads := array(select jsonb_array_elements_text(doc -> 'data' -> 'pads'));
    return new;
exception when others then
    new.told_at := null; -- a message that can't be read tells nothing
    return new;
end $$;
-- +goose StatementEnd
create trigger told before insert or update of payload on deliveries
    for each row when (new.told_at is null) execute function deliveries_told();

-- The messages that were sent before: each row is written once more as it is.
alter table deliveries no force row level security;
update deliveries set payload = payload;
alter table deliveries force row level security;

-- +goose Down
drop trigger told on deliveries;
drop function deliveries_told;
alter table deliveries drop column told_at, drop column told_verdict, drop column told_start,
    drop column told_latest, drop column told_pads;
