-- +goose Up

-- Who does what must run once for a kitchen, until when by the server's clock.
CREATE TABLE leases (
    kitchen_id    BIGINT PRIMARY KEY REFERENCES kitchens (id),
    holder        TEXT NOT NULL,
    term          BIGINT NOT NULL, -- counts up when it changes hands
    expires_at    BIGINT NOT NULL
);
ALTER TABLE leases ENABLE ROW LEVEL SECURITY;
ALTER TABLE leases FORCE ROW LEVEL SECURITY;
CREATE POLICY one_kitchen ON leases USING (kitchen_id = (SELECT this_kitchen()));

-- Events stay as they are, but that their words and a helper's name may be wiped
-- some time after the night.
DROP TRIGGER events_stay ON events;
CREATE TRIGGER events_stay BEFORE UPDATE ON events FOR EACH ROW
    WHEN (NEW.why NOT IN ('', OLD.why) OR NEW.who NOT IN ('', OLD.who) OR
        (NEW.id, NEW.kitchen_id, NEW.night_id, NEW.order_id, NEW.message_id, NEW.inbound_id, NEW.at, NEW.what, NEW.from_state, NEW.to_state)
        IS DISTINCT FROM
        (OLD.id, OLD.kitchen_id, OLD.night_id, OLD.order_id, OLD.message_id, OLD.inbound_id, OLD.at, OLD.what, OLD.from_state, OLD.to_state))
    EXECUTE FUNCTION events_stay();
