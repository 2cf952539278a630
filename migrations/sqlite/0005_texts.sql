-- +goose Up

-- The kitchen's own words for texts to customers, saved from the pages or the
-- shell. They lie over those of the configuration.
CREATE TABLE texts (
    kitchen_id INTEGER NOT NULL REFERENCES kitchens (id),
    name       TEXT    NOT NULL,
    words      TEXT    NOT NULL,
    saved_at   INTEGER NOT NULL,
    saved_by   TEXT    NOT NULL,
    PRIMARY KEY (kitchen_id, name)
) STRICT;
