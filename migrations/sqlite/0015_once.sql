-- +goose Up

-- A try's row is written once, when it is settled. Until then the message holds
-- what there is to know of it.
ALTER TABLE messages ADD COLUMN started_at INTEGER NOT NULL DEFAULT 0; -- of the last try

-- Turns are counted, and not looked for among the messages.
ALTER TABLE kitchens ADD COLUMN turn INTEGER NOT NULL DEFAULT 0; -- the highest that a try has had
UPDATE kitchens SET turn = max(
    (SELECT coalesce(max(turn), 0) FROM messages m WHERE m.kitchen_id = kitchens.id), (SELECT coalesce(max(turn), 0) FROM attempts a WHERE a.kitchen_id = kitchens.id));
DROP INDEX messages_by_turn;
