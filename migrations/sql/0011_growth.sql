-- What became of pushed trees.
-- Run as graftlog_owner. Plain SQL for PostgreSQL 15 and newer.

CREATE TABLE growth (
    lot text NOT NULL,
    number bigint NOT NULL,
    site text NOT NULL,
    cultivar text,
    rootstock text,
    method text,
    attempt bigint NOT NULL,
    grafted_on date,
    outcome text NOT NULL CHECK (
        outcome IN ('ready', 'growing', 'dead', 'culled', 'gone', 'ready_dead', 'ready_gone')
    ),
    cause text,
    after_day date,
    by_day date,
    started text NOT NULL,
    size text NOT NULL,
    grade text NOT NULL,
    trees bigint NOT NULL CHECK (trees > 0),
    PRIMARY KEY (lot, number),
    CHECK (after_day <= by_day)
);
COMMENT ON TABLE growth IS 'What became of pushed trees, as far as gradings can tell: ready some day after after_day, on by_day at the latest. Every pushed tree of a lot is in one row of the outcomes before ready_dead; ready_dead and ready_gone say what became of ready ones later.';
COMMENT ON COLUMN growth.after_day IS 'The last day on which a grading left them among the pushed; null where none had. Of ready_dead and ready_gone: the day on which they were graded ready.';
COMMENT ON COLUMN growth.by_day IS 'The day on which the outcome was seen; null for those that grow.';
COMMENT ON COLUMN growth.started IS 'The size they pushed in; size and grade (empty for none) as they ended, or stand.';
SELECT wall('growth', 'site = ANY ((SELECT seen_sites())::text[])');

GRANT SELECT, INSERT, UPDATE, DELETE ON growth TO graftlog_writer;
GRANT SELECT ON growth TO graftlog_reader;
