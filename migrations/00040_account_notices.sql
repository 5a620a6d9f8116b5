-- +goose Up
-- Mails that tell an account what was added to it wait where links to be mailed do.
alter table mail_orders
    add column notice text, -- what it tells; null: it brings a link
    add column named text;  -- what was added is called so

-- +goose Down
delete from mail_orders where notice is not null;
alter table mail_orders drop column notice, drop column named;
