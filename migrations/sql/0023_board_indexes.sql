-- Stock day by day is told backward from what there is now: by kind and day, not from the beginning.
-- Run as graftlog_owner. Plain SQL for PostgreSQL 15 and newer.

-- Some hundred thousand rows at most. Who reads is not held up; the view that writes them waits.
-- squawk-ignore require-concurrent-index-creation
CREATE INDEX stock_by_day_kind ON stock_by_day (kind, day);
