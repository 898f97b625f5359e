-- +goose Up
-- The outbox is the record of what staff were told of each alert.
ALTER TABLE messages ADD COLUMN session TEXT NOT NULL DEFAULT ''; -- session whose alerts it speaks of; '' for other messages
ALTER TABLE messages ADD COLUMN says TEXT NOT NULL DEFAULT '[]'; -- what it says, JSON: [{alert, number, turn, digest}]
CREATE INDEX IF NOT EXISTS messages_by_session ON messages (session);
