-- +goose Up

-- Who does what must run once for a kitchen, until when by the machine's clock.
CREATE TABLE leases (
    kitchen_id INTEGER PRIMARY KEY REFERENCES kitchens (id),
    holder     TEXT    NOT NULL,
    term       INTEGER NOT NULL, -- counts up when it changes hands
    expires_at INTEGER NOT NULL
) STRICT;

-- Events stay as they are, but that their words and a helper's name may be wiped
-- some time after the night.
DROP TRIGGER events_stay;
-- +goose StatementBegin
CREATE TRIGGER events_stay BEFORE UPDATE ON events
    WHEN NEW.why NOT IN ('', OLD.why) OR NEW.who NOT IN ('', OLD.who) OR
        (NEW.id, NEW.kitchen_id, NEW.night_id, NEW.order_id, NEW.message_id, NEW.inbound_id, NEW.at, NEW.what, NEW.from_state, NEW.to_state)
        IS NOT
        (OLD.id, OLD.kitchen_id, OLD.night_id, OLD.order_id, OLD.message_id, OLD.inbound_id, OLD.at, OLD.what, OLD.from_state, OLD.to_state)
BEGIN
    SELECT RAISE(ABORT, 'events are append-only');
END;
-- +goose StatementEnd
