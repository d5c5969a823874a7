-- Reservations that are confirmed, expire, are for an order, and hold what of a wish was promised.
-- Run as graftlog_owner. Plain SQL for PostgreSQL 15 and newer.

ALTER TABLE reservations
    ADD COLUMN order_ref text,
    ADD COLUMN destination text[] NOT NULL DEFAULT '{}',
    ADD COLUMN confirmed_day date,
    ADD COLUMN expired_day date;
COMMENT ON COLUMN reservations.expired_day IS 'The day of its expiry, once that was recorded. A claim counts no more from expires_at on, recorded or not.';

ALTER TABLE commitments ADD COLUMN promised bigint;
COMMENT ON COLUMN commitments.promised IS 'How many of those asked were promised; null: all of them.';
