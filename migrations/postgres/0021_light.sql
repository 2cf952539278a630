-- +goose Up

-- A text that comes in or is planned is let in by the wall for the kitchen that was
-- entered alone, and no kitchen is ever deleted: to look for it once more for each row
-- told nothing, and locked the row that all texts of the kitchen share.
ALTER TABLE inbounds DROP CONSTRAINT inbounds_kitchen_id_fkey;
ALTER TABLE messages DROP CONSTRAINT messages_kitchen_id_fkey;

-- Nor is a text that came in. What is said of it, or in answer to it, is written in the
-- transaction that wrote or changed its row.
ALTER TABLE inbound_orders DROP CONSTRAINT inbound_orders_inbound_id_fkey;
ALTER TABLE messages DROP CONSTRAINT messages_inbound_id_fkey;

-- These rows change with every round. What they were before is swept up once a tenth
-- of their page is full, and need not be walked through.
ALTER TABLE changes SET (fillfactor = 10);
ALTER TABLE kitchens SET (fillfactor = 10);
