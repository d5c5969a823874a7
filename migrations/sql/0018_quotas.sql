-- Quotas that hold over all processes: tokens are leased in blocks.
-- Run as graftlog_owner. Plain SQL for PostgreSQL 15 and newer.

CREATE TABLE quota_leases (
    lease bigint GENERATED ALWAYS AS IDENTITY PRIMARY KEY,
    asker text NOT NULL,
    tokens bigint NOT NULL CHECK (tokens > 0),
    ends_at timestamptz NOT NULL
);
COMMENT ON TABLE quota_leases IS 'Tokens that a process may spend on an asker''s requests until ends_at, or has spent by then. A lease counts against the quota until its last moment is a window ago, so no window of that length, wherever it begins, ever sees more than the quota. Nothing here outlives that.';
COMMENT ON COLUMN quota_leases.asker IS 'The name of the keys whose requests are counted together.';
CREATE INDEX quota_leases_by_asker ON quota_leases (asker, ends_at);
CREATE INDEX quota_leases_by_end ON quota_leases (ends_at);
-- The reader has no business here, so there is no wall.
GRANT SELECT, INSERT, UPDATE, DELETE ON quota_leases TO graftlog_writer;

-- A function, since what is left must be read behind the lock: inside one statement a lock would
-- not refresh what it sees, and several statements would hold it while they travel.
CREATE FUNCTION lease_tokens(
    asking text, quota bigint, wanted bigint, span interval, lasts interval,
    OUT lease bigint, OUT tokens bigint, OUT free bigint, OUT more_in double precision
) LANGUAGE plpgsql AS $$
DECLARE
    moment timestamptz;
    oldest timestamptz;
BEGIN
    PERFORM pg_advisory_xact_lock(hashtextextended('quota ' || asking, 0));
    moment := clock_timestamp();
    SELECT greatest(0, quota - coalesce(sum(q.tokens), 0)), min(q.ends_at) INTO free, oldest
    FROM quota_leases q
    WHERE q.asker = asking AND q.ends_at > moment - span;
    -- A quarter of what is left at most, so that other processes find something too.
    tokens := CASE WHEN free > 0 THEN least(wanted, greatest(1, free / 4)) ELSE 0 END;
    free := free - tokens;
    more_in := extract(epoch FROM least(oldest, moment + lasts) + span - moment);
    IF tokens > 0 THEN
        INSERT INTO quota_leases (asker, tokens, ends_at)
        VALUES (asking, tokens, moment + lasts)
        RETURNING quota_leases.lease INTO lease;
    END IF;
END $$;
COMMENT ON FUNCTION lease_tokens IS 'Leases up to wanted tokens of quota in a window of span for the time that it lasts: which lease (null: none), how many tokens, how many more are free, and in how many seconds the oldest lease leaves the window.';
REVOKE EXECUTE ON FUNCTION lease_tokens FROM PUBLIC;
GRANT EXECUTE ON FUNCTION lease_tokens TO graftlog_writer;
