-- What is needed to take an exported log back.
-- Run as graftlog_owner. Plain SQL for PostgreSQL 15 and newer.

-- Rows to put right come back with their numbers; the next new one goes on after them.
GRANT UPDATE ON SEQUENCE to_put_right_id_seq TO graftlog_writer;
