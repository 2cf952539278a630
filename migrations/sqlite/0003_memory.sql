-- +goose Up

-- How a kitchen's files are to be read, by the shape of their headings.
CREATE TABLE book_shapes (
    kitchen_id INTEGER NOT NULL,
    shape      TEXT    NOT NULL,
    mapping    TEXT    NOT NULL, -- JSON
    PRIMARY KEY (kitchen_id, shape)
) STRICT;

-- Oddities of an order book that a person has looked at.
CREATE TABLE seen_problems (
    kitchen_id INTEGER NOT NULL,
    night_id   INTEGER NOT NULL,
    problem    TEXT    NOT NULL,
    PRIMARY KEY (kitchen_id, night_id, problem)
) STRICT;
