-- +goose Up

-- What waits for its next try is looked at for a wait that was dated by a clock
-- that is ahead, see store.Misdated: it is little among all that waits.
CREATE INDEX messages_waiting ON messages (kitchen_id, next_at) WHERE state = 'due' AND attempt > 0;

-- It counts among what there is to send, see store.Astir.

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
            EXISTS (SELECT 1 FROM messages m WHERE m.kitchen_id = k.id AND m.state = 'due' AND m.next_at <= at_now)
                OR EXISTS (SELECT 1 FROM messages m WHERE m.kitchen_id = k.id AND m.state = 'sending')
                OR EXISTS (SELECT 1 FROM messages m JOIN attempts a ON a.kitchen_id = m.kitchen_id AND a.message_id = m.id AND a.attempt = m.attempt
                    WHERE m.kitchen_id = k.id AND m.state = 'due' AND m.attempt > 0 AND m.next_at > at_now AND m.next_at <> m.due_at
                        AND a.settled_at > at_now),
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
