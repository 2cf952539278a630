-- +goose Up

-- Only what waits is looked for by its time, and only what answers a text is
-- told from others by that text: whatever else happens to a message need not
-- touch these indexes. Many messages are due at one moment, and a claim takes
-- the first of them in this order, without looking at all.
DROP INDEX messages_due;
CREATE INDEX messages_due ON messages (kitchen_id, state, next_at, id) WHERE state IN ('due', 'sending');
ALTER TABLE messages DROP CONSTRAINT messages_kitchen_id_inbound_id_kind_key;
CREATE UNIQUE INDEX messages_answer ON messages (kitchen_id, inbound_id, kind) WHERE inbound_id IS NOT NULL;

-- Room in each page for the next version of a row: what no index names then
-- changes in place (PostgreSQL manual, 73.7 Heap-Only Tuples).
ALTER TABLE orders SET (fillfactor = 70);
ALTER TABLE attempts SET (fillfactor = 70);
ALTER TABLE inbounds SET (fillfactor = 70);
