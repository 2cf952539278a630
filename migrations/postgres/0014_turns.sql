-- +goose Up

-- In which order texts were tried, whatever the clocks said: a later try has a
-- higher turn, and two that were claimed side by side may have the same.
ALTER TABLE messages ADD COLUMN turn BIGINT NOT NULL DEFAULT 0; -- of its last try, or of the one that it stands by
ALTER TABLE attempts ADD COLUMN turn BIGINT NOT NULL DEFAULT 0;
CREATE INDEX messages_by_turn ON messages (kitchen_id, turn) WHERE turn > 0;
