-- Who put right or discarded what the log had refused.
-- Run as graftlog_owner. Plain SQL for PostgreSQL 15 and newer.
SELECT 1;
