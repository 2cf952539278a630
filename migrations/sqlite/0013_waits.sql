-- +goose Up

-- What waits for its next try is looked at for a wait that was dated by a clock
-- that is ahead, see store.Misdated: it is little among all that waits.
CREATE INDEX messages_waiting ON messages (kitchen_id, next_at) WHERE state = 'due' AND attempt > 0;
