-- Row-level security, and details of people and customers that can be erased.
-- Run as graftlog_owner. Plain SQL for PostgreSQL 15 and newer.
SELECT 1;
