-- +goose NO TRANSACTION
-- +goose Up
-- The outbox is the record of what staff were told of each alert.
ALTER TABLE stored_messages
    ADD COLUMN session String, -- session whose alerts it speaks of; '' for other messages
    ADD COLUMN says String DEFAULT '[]'; -- what it says, JSON: [{alert, number, turn, digest}]
