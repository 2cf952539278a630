-- +goose Up

-- The latest event of a kitchen is asked for again and again.
CREATE INDEX events_latest ON events (kitchen_id, id);
