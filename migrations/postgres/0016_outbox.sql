-- +goose Up

-- What waits to be sent, or is being sent: a message has a row here as long as it
-- is due, and none after. What sending changes again and again is this small row;
-- the message itself changes once, when a try is settled, and no index names what
-- changes then: so both change in place.
CREATE TABLE outbox (
    message_id    BIGINT PRIMARY KEY,
    kitchen_id    BIGINT NOT NULL,
    next_at       BIGINT NOT NULL, -- due_at, or later after a try that failed for now; 0 for at once
    waits_from    BIGINT NOT NULL DEFAULT 0, -- when the try ended after which it waits; 0 where it waits for its own time
    -- The try under way; all 0 and '' where there is none.
    attempt       INTEGER NOT NULL DEFAULT 0,
    lease_until   BIGINT NOT NULL DEFAULT 0,
    started_at    BIGINT NOT NULL DEFAULT 0,
    adapter       TEXT NOT NULL DEFAULT '',
    turn          BIGINT NOT NULL DEFAULT 0
) WITH (fillfactor = 50);
CREATE INDEX outbox_due ON outbox (kitchen_id, next_at, message_id);
CREATE INDEX outbox_waits ON outbox (kitchen_id, waits_from) WHERE waits_from > 0;
ALTER TABLE outbox ENABLE ROW LEVEL SECURITY;
ALTER TABLE outbox FORCE ROW LEVEL SECURITY;
CREATE POLICY one_kitchen ON outbox USING (kitchen_id = (SELECT this_kitchen()));

-- By the clock of whoever claims; what is under way was due by then.
ALTER TABLE kitchens ADD COLUMN claimed_at BIGINT NOT NULL DEFAULT 0;

-- +goose StatementBegin
DO $$
DECLARE
    k BIGINT;
BEGIN
    FOR k IN SELECT id FROM kitchens LOOP
        PERFORM set_config('passbell.kitchen', k::TEXT, true);
        INSERT INTO outbox (message_id, kitchen_id, next_at, waits_from)
        SELECT m.id, k, m.next_at, CASE WHEN m.next_at <> m.due_at THEN coalesce(a.settled_at, 0) ELSE 0 END
        FROM messages m LEFT JOIN attempts a ON a.message_id = m.id AND a.attempt = m.attempt WHERE m.kitchen_id = k AND m.state = 'due';
        INSERT INTO outbox (message_id, kitchen_id, next_at, attempt, lease_until, started_at, adapter, turn)
        SELECT m.id, k, m.next_at, m.attempt, m.lease_until, greatest(m.started_at, coalesce(a.started_at, 0)), m.adapter, m.turn
        FROM messages m LEFT JOIN attempts a ON a.message_id = m.id AND a.attempt = m.attempt WHERE m.kitchen_id = k AND m.state = 'sending';
        DELETE FROM attempts a USING messages m
        WHERE a.kitchen_id = k AND m.kitchen_id = k AND m.state = 'sending' AND a.message_id = m.id AND a.attempt = m.attempt;
        -- attempt counts the tries that were settled.
        UPDATE messages SET state = 'due', attempt = attempt - 1 WHERE kitchen_id = k AND state = 'sending';
        UPDATE kitchens SET claimed_at = coalesce((SELECT max(next_at) FROM outbox WHERE kitchen_id = k AND attempt > 0), 0) WHERE id = k;
    END LOOP;
    PERFORM set_config('passbell.kitchen', '', true);
END $$;
-- +goose StatementEnd

DROP INDEX messages_due;
DROP INDEX messages_waiting;
ALTER TABLE messages DROP COLUMN next_at;
ALTER TABLE messages DROP COLUMN lease_until;
ALTER TABLE messages DROP COLUMN started_at;
ALTER TABLE attempts DROP COLUMN started_at; -- of no use once a try is settled

-- The events of an order are few among those of its night, and seldom asked for.
DROP INDEX events_by_order;

-- What there is to send, see store.Astir, stands in the outbox.

-- +goose StatementBegin
CREATE OR REPLACE FUNCTION kitchens_astir(looks JSON, moment JSON)
    RETURNS TABLE (kitchen BIGINT, event BIGINT, sends BOOLEAN, reads BOOLEAN, closes BOOLEAN) LANGUAGE plpgsql
    SET plan_cache_mode = force_generic_plan AS $$
DECLARE
    was    TEXT := coalesce(current_setting('passbell.kitchen', true), '');
    at_now BIGINT := moment::TEXT::BIGINT;
    k      RECORD;
BEGIN
    FOR k IN SELECT * FROM json_to_recordset(looks) AS x (id BIGINT, seen BIGINT, silent BIGINT, closes BOOLEAN, date TEXT, slot INTEGER) LOOP
        PERFORM set_config('passbell.kitchen', k.id::TEXT, true);
        SELECT k.id,
            coalesce((SELECT max(e.id) FROM events e WHERE e.kitchen_id = k.id), 0),
            EXISTS (SELECT 1 FROM outbox o WHERE o.kitchen_id = k.id AND o.next_at <= at_now)
                OR EXISTS (SELECT 1 FROM outbox o WHERE o.kitchen_id = k.id AND o.waits_from > at_now)
                OR EXISTS (SELECT 1 FROM kitchens c JOIN outbox o ON o.kitchen_id = c.id AND o.next_at <= c.claimed_at
                    WHERE c.id = k.id AND o.attempt > 0),
            EXISTS (SELECT 1 FROM inbounds i WHERE i.kitchen_id = k.id AND i.state = 'fresh')
        INTO kitchen, event, sends, reads;
        closes := k.closes AND EXISTS (
            SELECT 1 FROM nights n WHERE n.kitchen_id = k.id AND (n.date > k.date OR n.date = k.date AND n.last_slot >= k.slot)
                AND n.closed_at = 0 AND n.closes_at > 0 AND n.closes_at <= at_now);
        IF k.silent > 0 AND NOT sends THEN
            sends := EXISTS (
                SELECT 1 FROM nights n JOIN messages m ON m.kitchen_id = n.kitchen_id AND m.night_id = n.id
                WHERE n.kitchen_id = k.id AND (n.date > k.date OR n.date = k.date AND n.last_slot >= k.slot)
                    AND m.state = 'sent' AND m.fallen = 0 AND m.settled_at <= k.silent);
        END IF;
        IF event <> k.seen OR sends OR reads OR closes THEN
            RETURN NEXT;
        END IF;
    END LOOP;
    PERFORM set_config('passbell.kitchen', was, true);
END $$;
-- +goose StatementEnd
