-- Work orders: grafting to do, and how far it has come.
-- Run as graftlog_owner. Plain SQL for PostgreSQL 15 and newer.
SELECT 1;
