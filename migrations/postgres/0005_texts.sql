-- +goose Up

-- The kitchen's own words for texts to customers, saved from the pages or the
-- shell. They lie over those of the configuration.
CREATE TABLE texts (
    kitchen_id    BIGINT NOT NULL REFERENCES kitchens (id),
    name          TEXT NOT NULL,
    words         TEXT NOT NULL,
    saved_at      BIGINT NOT NULL,
    saved_by      TEXT NOT NULL,
    PRIMARY KEY (kitchen_id, name)
);
ALTER TABLE texts ENABLE ROW LEVEL SECURITY;
ALTER TABLE texts FORCE ROW LEVEL SECURITY;
CREATE POLICY one_kitchen ON texts USING (kitchen_id = (SELECT this_kitchen()));
