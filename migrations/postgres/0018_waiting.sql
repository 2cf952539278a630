-- +goose Up

-- Texts are looked up by their state for as long as they wait, for passbell or for a
-- person. One that was acted on at once is in no such list.
DROP INDEX inbounds_by_state;
CREATE INDEX inbounds_waiting ON inbounds (kitchen_id, state) WHERE state IN ('fresh', 'open');

-- An index that begins with the kitchen is, for a planner with old statistics, as good
-- as any other that does. These begin with what their rows are looked up by.
DROP INDEX inbounds_by_night;
CREATE INDEX inbounds_by_night ON inbounds (night_id);
ALTER TABLE inbounds DROP CONSTRAINT inbounds_kitchen_id_adapter_provider_id_key;
CREATE UNIQUE INDEX inbounds_once ON inbounds (provider_id, adapter, kitchen_id);
ALTER TABLE message_orders DROP CONSTRAINT message_orders_kitchen_id_order_id_kind_revision_key;
CREATE UNIQUE INDEX message_orders_once ON message_orders (order_id, kind, revision);
