-- +goose Up

-- A sign-in belongs to one kitchen.
CREATE TABLE kitchen_sessions (
    kitchen_id INTEGER NOT NULL REFERENCES kitchens (id),
    token      TEXT    NOT NULL,
    data       BLOB    NOT NULL,
    expires    INTEGER NOT NULL,
    PRIMARY KEY (kitchen_id, token)
) STRICT;
INSERT INTO kitchen_sessions SELECT (SELECT min(id) FROM kitchens), token, data, expires FROM sessions
    WHERE EXISTS (SELECT 1 FROM kitchens);
DROP TABLE sessions;
ALTER TABLE kitchen_sessions RENAME TO sessions;
