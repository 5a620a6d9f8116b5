-- +goose Up
-- A photo that no entry shows can be deleted by the owner of its project.
-- +goose StatementBegin
do $$
declare
    own    constant text := 'nullif(current_setting(''dryslot.account'', true), '''')::uuid';
    member constant text := 'nullif(current_setting(''dryslot.member'', true), '''')::uuid';
    here   constant text := 'nullif(current_setting(''dryslot.project'', true), '''')::uuid';
    may    text;
begin
    may := format('(select m.role from members m
        where m.account = %s and m.project = %s and m.member = %s)', own, here, member);
    execute format('create policy deleted on photos for delete
        using (account = %s and (%s is null or project = %s and %s = ''owner''))',
        own, member, here, may);
end $$;
-- +goose StatementEnd

-- +goose Down
drop policy deleted on photos;
