-- Take, losses and push observations; views built beside the live ones.
-- Run as graftlog_owner. Plain SQL for PostgreSQL 15 and newer.
SELECT 1;
