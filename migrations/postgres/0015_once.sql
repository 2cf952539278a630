-- +goose Up

-- A try's row is written once, when it is settled. Until then the message holds
-- what there is to know of it.
ALTER TABLE messages ADD COLUMN started_at BIGINT NOT NULL DEFAULT 0; -- of the last try

-- The settling that writes these rows has changed their message in the same
-- transaction, and no message is deleted that was ever tried: to look for it once
-- more for each row told nothing.
ALTER TABLE attempts DROP CONSTRAINT attempts_message_id_fkey;
ALTER TABLE attempts RESET (fillfactor);
ALTER TABLE parts DROP CONSTRAINT parts_message_id_fkey;

-- Turns are counted, and not looked for among the messages.
ALTER TABLE kitchens ADD COLUMN turn BIGINT NOT NULL DEFAULT 0; -- the highest that a try has had
-- +goose StatementBegin
DO $$
DECLARE
    k BIGINT;
BEGIN
    FOR k IN SELECT id FROM kitchens LOOP
        PERFORM set_config('passbell.kitchen', k::TEXT, true);
        UPDATE kitchens SET turn = greatest(
            (SELECT coalesce(max(turn), 0) FROM messages WHERE kitchen_id = k), (SELECT coalesce(max(turn), 0) FROM attempts WHERE kitchen_id = k))
        WHERE id = k;
    END LOOP;
    PERFORM set_config('passbell.kitchen', '', true);
END $$;
-- +goose StatementEnd
DROP INDEX messages_by_turn;

-- A kitchen's events are told apart by what its latest one is found by.
ALTER TABLE events DROP CONSTRAINT events_pkey;
DROP INDEX events_latest;
ALTER TABLE events ADD PRIMARY KEY (kitchen_id, id);

-- Many orders are told at one moment, and their rows then change in place as long
-- as there is room for all of them in their page.
ALTER TABLE orders SET (fillfactor = 50);
ALTER TABLE messages SET (fillfactor = 50);

-- Where all texts of a night have one key in an index, each new version of a row
-- is put into the middle of a long list.
DROP INDEX messages_by_night;
CREATE INDEX messages_by_night ON messages (kitchen_id, night_id, id);
