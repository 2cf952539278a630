-- +goose Up

-- To whom an attempt went: another one may take another way.
ALTER TABLE attempts ADD COLUMN address TEXT NOT NULL DEFAULT ''; -- '' where it was not noted
