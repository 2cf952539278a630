-- Instants are UTC milliseconds since 1970; 0 means never. Wall times are
-- minutes after midnight in the kitchen's zone. Every table names its kitchen.

-- +goose Up
CREATE TABLE kitchens (
    id         INTEGER PRIMARY KEY,
    name       TEXT    NOT NULL UNIQUE,
    region     TEXT    NOT NULL,
    zone       TEXT    NOT NULL,
    number     TEXT    NOT NULL,
    quiet_from INTEGER NOT NULL,
    quiet_to   INTEGER NOT NULL
) STRICT;

CREATE TABLE nights (
    id            INTEGER PRIMARY KEY AUTOINCREMENT,
    kitchen_id    INTEGER NOT NULL REFERENCES kitchens (id),
    date          TEXT    NOT NULL,
    first_slot    INTEGER NOT NULL,
    last_slot     INTEGER NOT NULL,
    every         INTEGER NOT NULL,
    capacity      INTEGER NOT NULL,
    place         TEXT    NOT NULL,
    parking       TEXT    NOT NULL,
    closes_at     INTEGER NOT NULL,
    instruct_at   INTEGER NOT NULL,
    remind_before INTEGER NOT NULL, -- milliseconds before the slot
    remind_from   INTEGER NOT NULL,
    closed_at     INTEGER NOT NULL DEFAULT 0,
    called_off_at INTEGER NOT NULL DEFAULT 0,
    UNIQUE (kitchen_id, date)
) STRICT;

CREATE TABLE orders (
    id          INTEGER PRIMARY KEY AUTOINCREMENT,
    kitchen_id  INTEGER NOT NULL REFERENCES kitchens (id),
    night_id    INTEGER NOT NULL REFERENCES nights (id),
    ref         TEXT    NOT NULL,
    bag         INTEGER NOT NULL,
    name        TEXT    NOT NULL,
    phone       TEXT    NOT NULL,
    phone_typed TEXT    NOT NULL,
    email       TEXT    NOT NULL,
    collector   TEXT    NOT NULL,
    slot        INTEGER NOT NULL,
    items       TEXT    NOT NULL, -- JSON list
    note        TEXT    NOT NULL,
    allergy     TEXT    NOT NULL,
    state       TEXT    NOT NULL,
    packed_at   INTEGER NOT NULL,
    expected_at INTEGER NOT NULL,
    behind      INTEGER NOT NULL, -- minutes
    vehicle     TEXT    NOT NULL, -- JSON
    arrived_at  INTEGER NOT NULL,
    spot        TEXT    NOT NULL,
    revision    INTEGER NOT NULL,
    booked      TEXT    NOT NULL, -- JSON: the row as the order book last gave it
    UNIQUE (kitchen_id, night_id, ref)
) STRICT;
CREATE INDEX orders_by_phone ON orders (kitchen_id, night_id, phone);

CREATE TABLE messages (
    id          INTEGER PRIMARY KEY AUTOINCREMENT,
    kitchen_id  INTEGER NOT NULL REFERENCES kitchens (id),
    night_id    INTEGER NOT NULL REFERENCES nights (id),
    inbound_id  INTEGER REFERENCES inbounds (id), -- the text that this one answers
    kind        TEXT    NOT NULL,
    revision    INTEGER NOT NULL,
    place       TEXT    NOT NULL,
    address     TEXT    NOT NULL,
    text        TEXT    NOT NULL,
    parts       INTEGER NOT NULL,
    due_at      INTEGER NOT NULL,
    next_at     INTEGER NOT NULL, -- due_at, or later after a try that failed for now
    expires_at  INTEGER NOT NULL,
    state       TEXT    NOT NULL,
    reason      TEXT    NOT NULL DEFAULT '',
    attempt     INTEGER NOT NULL DEFAULT 0,
    adapter     TEXT    NOT NULL, -- the way that it takes; '' for any
    fallen      INTEGER NOT NULL DEFAULT 0, -- 1 where another way failed before
    lease_until INTEGER NOT NULL DEFAULT 0,
    settled_at  INTEGER NOT NULL DEFAULT 0,
    UNIQUE (kitchen_id, inbound_id, kind)
) STRICT;
CREATE INDEX messages_due ON messages (kitchen_id, state, next_at);
CREATE INDEX messages_by_night ON messages (kitchen_id, night_id);

-- The index is the promise that a message exists once for an order, a kind and
-- a revision, also where one text tells about several orders.
CREATE TABLE message_orders (
    kitchen_id INTEGER NOT NULL,
    message_id INTEGER NOT NULL REFERENCES messages (id) ON DELETE CASCADE,
    order_id   INTEGER NOT NULL REFERENCES orders (id),
    kind       TEXT    NOT NULL,
    revision   INTEGER NOT NULL,
    slot       INTEGER NOT NULL, -- the slot that the text quotes
    PRIMARY KEY (message_id, order_id),
    UNIQUE (kitchen_id, order_id, kind, revision)
) STRICT;

CREATE TABLE attempts (
    message_id INTEGER NOT NULL REFERENCES messages (id) ON DELETE CASCADE,
    attempt    INTEGER NOT NULL,
    kitchen_id INTEGER NOT NULL,
    adapter    TEXT    NOT NULL,
    started_at INTEGER NOT NULL,
    settled_at INTEGER NOT NULL DEFAULT 0,
    outcome    TEXT    NOT NULL DEFAULT '',
    reason     TEXT    NOT NULL DEFAULT '',
    PRIMARY KEY (message_id, attempt)
) STRICT;

-- What a provider calls the parts of a text that it accepted.
CREATE TABLE parts (
    kitchen_id  INTEGER NOT NULL,
    adapter     TEXT    NOT NULL,
    provider_id TEXT    NOT NULL,
    message_id  INTEGER NOT NULL REFERENCES messages (id) ON DELETE CASCADE,
    attempt     INTEGER NOT NULL,
    status      TEXT    NOT NULL,
    reason      TEXT    NOT NULL DEFAULT '',
    at          INTEGER NOT NULL,
    PRIMARY KEY (kitchen_id, adapter, provider_id)
) STRICT;
CREATE INDEX parts_by_message ON parts (message_id);

-- Receipts that came before the record of what they report on.
CREATE TABLE early_receipts (
    kitchen_id  INTEGER NOT NULL,
    adapter     TEXT    NOT NULL,
    provider_id TEXT    NOT NULL,
    status      TEXT    NOT NULL,
    reason      TEXT    NOT NULL,
    at          INTEGER NOT NULL,
    PRIMARY KEY (kitchen_id, adapter, provider_id, status)
) STRICT;

CREATE TABLE inbounds (
    id          INTEGER PRIMARY KEY AUTOINCREMENT,
    kitchen_id  INTEGER NOT NULL REFERENCES kitchens (id),
    night_id    INTEGER NOT NULL,
    adapter     TEXT    NOT NULL,
    provider_id TEXT    NOT NULL,
    sender      TEXT    NOT NULL,
    recipient   TEXT    NOT NULL,
    text        TEXT    NOT NULL,
    at          INTEGER NOT NULL,
    state       TEXT    NOT NULL,
    reading     TEXT    NOT NULL, -- JSON
    corrected   TEXT    NOT NULL, -- JSON: what a person put right
    why         TEXT    NOT NULL,
    UNIQUE (kitchen_id, adapter, provider_id)
) STRICT;
CREATE INDEX inbounds_by_state ON inbounds (kitchen_id, state);
CREATE INDEX inbounds_by_night ON inbounds (kitchen_id, night_id);

CREATE TABLE inbound_orders (
    kitchen_id INTEGER NOT NULL,
    inbound_id INTEGER NOT NULL REFERENCES inbounds (id) ON DELETE CASCADE,
    order_id   INTEGER NOT NULL REFERENCES orders (id),
    place      INTEGER NOT NULL, -- rank: 0 is the likeliest
    PRIMARY KEY (inbound_id, order_id)
) STRICT;

CREATE TABLE optouts (
    kitchen_id INTEGER NOT NULL,
    address    TEXT    NOT NULL,
    at         INTEGER NOT NULL,
    PRIMARY KEY (kitchen_id, address)
) STRICT;

CREATE TABLE events (
    id         INTEGER PRIMARY KEY AUTOINCREMENT,
    kitchen_id INTEGER NOT NULL,
    night_id   INTEGER NOT NULL,
    order_id   INTEGER NOT NULL,
    message_id INTEGER NOT NULL,
    inbound_id INTEGER NOT NULL,
    at         INTEGER NOT NULL,
    who        TEXT    NOT NULL,
    what       TEXT    NOT NULL,
    from_state TEXT    NOT NULL,
    to_state   TEXT    NOT NULL,
    why        TEXT    NOT NULL
) STRICT;
CREATE INDEX events_by_night ON events (kitchen_id, night_id, id);
CREATE INDEX events_by_order ON events (kitchen_id, order_id, id);

-- +goose StatementBegin
CREATE TRIGGER events_stay BEFORE UPDATE ON events
BEGIN
    SELECT RAISE(ABORT, 'events are append-only');
END;
-- +goose StatementEnd

CREATE TABLE sessions (
    token   TEXT    PRIMARY KEY,
    data    BLOB    NOT NULL,
    expires INTEGER NOT NULL
) STRICT;
