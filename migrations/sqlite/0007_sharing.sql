-- +goose Up

-- A text of which nobody knows for which of several kitchens it is stands in
-- all of them.
ALTER TABLE inbounds ADD COLUMN shared INTEGER NOT NULL DEFAULT 0; -- other kitchens that have it as well
ALTER TABLE inbounds ADD COLUMN silent INTEGER NOT NULL DEFAULT 0; -- 1 where another one answers
