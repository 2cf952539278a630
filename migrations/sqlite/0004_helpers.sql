-- +goose Up

-- Links that let somebody help for one night. Only the hash of a link's secret
-- is kept, so nobody can read a way in out of a copy of the database.
CREATE TABLE helpers (
    id         INTEGER PRIMARY KEY AUTOINCREMENT,
    kitchen_id INTEGER NOT NULL REFERENCES kitchens (id),
    night_id   INTEGER NOT NULL REFERENCES nights (id),
    name       TEXT    NOT NULL,
    hash       TEXT    NOT NULL UNIQUE, -- SHA-256 in hex
    made_at    INTEGER NOT NULL,
    expires_at INTEGER NOT NULL,
    ended_at   INTEGER NOT NULL DEFAULT 0
) STRICT;
CREATE INDEX helpers_by_night ON helpers (kitchen_id, night_id);

-- Random keys that the kitchen signs with.
CREATE TABLE secrets (
    kitchen_id INTEGER NOT NULL,
    name       TEXT    NOT NULL,
    value      BLOB    NOT NULL,
    PRIMARY KEY (kitchen_id, name)
) STRICT;
