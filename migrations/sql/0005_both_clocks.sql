-- What questions on both clocks need to be quick.
-- Run as graftlog_owner. Plain SQL for PostgreSQL 15 and newer.
SELECT 1;
