-- +goose Up

-- What waits to be sent, or is being sent: a message has a row here as long as it
-- is due, and none after. What sending changes again and again is this small row;
-- the message itself changes once, when a try is settled.
CREATE TABLE outbox (
    message_id  INTEGER PRIMARY KEY,
    kitchen_id  INTEGER NOT NULL,
    next_at     INTEGER NOT NULL, -- due_at, or later after a try that failed for now; 0 for at once
    waits_from  INTEGER NOT NULL DEFAULT 0, -- when the try ended after which it waits; 0 where it waits for its own time
    -- The try under way; all 0 and '' where there is none.
    attempt     INTEGER NOT NULL DEFAULT 0,
    lease_until INTEGER NOT NULL DEFAULT 0,
    started_at  INTEGER NOT NULL DEFAULT 0,
    adapter     TEXT    NOT NULL DEFAULT '',
    turn        INTEGER NOT NULL DEFAULT 0
) STRICT;
CREATE INDEX outbox_due ON outbox (kitchen_id, next_at, message_id);
CREATE INDEX outbox_waits ON outbox (kitchen_id, waits_from) WHERE waits_from > 0;

INSERT INTO outbox (message_id, kitchen_id, next_at, waits_from)
SELECT m.id, m.kitchen_id, m.next_at, CASE WHEN m.next_at <> m.due_at THEN coalesce(a.settled_at, 0) ELSE 0 END
FROM messages m LEFT JOIN attempts a ON a.message_id = m.id AND a.attempt = m.attempt WHERE m.state = 'due';
INSERT INTO outbox (message_id, kitchen_id, next_at, attempt, lease_until, started_at, adapter, turn)
SELECT m.id, m.kitchen_id, m.next_at, m.attempt, m.lease_until, max(m.started_at, coalesce(a.started_at, 0)), m.adapter, m.turn
FROM messages m LEFT JOIN attempts a ON a.message_id = m.id AND a.attempt = m.attempt WHERE m.state = 'sending';
DELETE FROM attempts WHERE (message_id, attempt) IN (SELECT id, attempt FROM messages WHERE state = 'sending');
-- attempt counts the tries that were settled.
UPDATE messages SET state = 'due', attempt = attempt - 1 WHERE state = 'sending';

-- By the clock of whoever claims; what is under way was due by then.
ALTER TABLE kitchens ADD COLUMN claimed_at INTEGER NOT NULL DEFAULT 0;
UPDATE kitchens SET claimed_at = coalesce((SELECT max(next_at) FROM outbox o WHERE o.kitchen_id = kitchens.id AND o.attempt > 0), 0);

DROP INDEX messages_due;
DROP INDEX messages_waiting;
ALTER TABLE messages DROP COLUMN next_at;
ALTER TABLE messages DROP COLUMN lease_until;
ALTER TABLE messages DROP COLUMN started_at;

-- When a try began is of no use once it is settled. No key of another table is
-- looked for: the settling that writes these rows has changed their message in the
-- same transaction.
CREATE TABLE tried (
    message_id INTEGER NOT NULL,
    attempt    INTEGER NOT NULL,
    kitchen_id INTEGER NOT NULL,
    adapter    TEXT    NOT NULL,
    address    TEXT    NOT NULL DEFAULT '', -- '' where it was not noted
    turn       INTEGER NOT NULL DEFAULT 0,
    settled_at INTEGER NOT NULL,
    outcome    TEXT    NOT NULL,
    reason     TEXT    NOT NULL DEFAULT '',
    PRIMARY KEY (message_id, attempt)
) STRICT, WITHOUT ROWID;
INSERT INTO tried SELECT message_id, attempt, kitchen_id, adapter, address, turn, settled_at, outcome, reason FROM attempts;
DROP TABLE attempts;
ALTER TABLE tried RENAME TO attempts;

CREATE TABLE numbered (
    kitchen_id  INTEGER NOT NULL,
    adapter     TEXT    NOT NULL,
    provider_id TEXT    NOT NULL,
    message_id  INTEGER NOT NULL,
    attempt     INTEGER NOT NULL,
    status      TEXT    NOT NULL,
    reason      TEXT    NOT NULL DEFAULT '',
    at          INTEGER NOT NULL,
    PRIMARY KEY (kitchen_id, adapter, provider_id)
) STRICT, WITHOUT ROWID;
INSERT INTO numbered SELECT kitchen_id, adapter, provider_id, message_id, attempt, status, reason, at FROM parts;
DROP TABLE parts;
ALTER TABLE numbered RENAME TO parts;
CREATE INDEX parts_by_message ON parts (message_id);

-- The events of an order are few among those of its night, and seldom asked for.
DROP INDEX events_by_order;
