-- Take, losses and push observations.
-- Run as graftlog_owner. Plain SQL for PostgreSQL 15 and newer.

CREATE TABLE take (
    lot text PRIMARY KEY,
    site text NOT NULL,
    cultivar text,
    rootstock text,
    method text,
    attempt bigint NOT NULL,
    grafted_on date,
    grafted bigint NOT NULL,
    opened bigint NOT NULL,
    alive bigint NOT NULL,
    failed bigint NOT NULL,
    not_read bigint NOT NULL,
    not_read_pushed bigint NOT NULL,
    not_read_failed bigint NOT NULL,
    gone bigint NOT NULL,
    ready bigint NOT NULL,
    growing bigint NOT NULL,
    -- Every graft is in exactly one of these.
    CHECK (grafted = alive + failed + not_read + gone)
);
COMMENT ON TABLE take IS 'Per tree lot: the take as read at unwrapping (alive and failed), what was not read yet, what went before it was read, and how many became ready. Push is told in push_observations.';
COMMENT ON COLUMN take.site IS 'Where it was grafted.';
COMMENT ON COLUMN take.opened IS 'Of grafted: those that stood as grafts when the books were opened, or were bought in so; what was lost of them before is not known.';
COMMENT ON COLUMN take.growing IS 'Alive in the nursery, or on the way, and not ready yet.';
CREATE INDEX take_day ON take (grafted_on);

CREATE TABLE take_gone (
    lot text NOT NULL,
    site text NOT NULL,
    reason text NOT NULL,
    trees bigint NOT NULL CHECK (trees > 0),
    PRIMARY KEY (lot, reason)
);
COMMENT ON TABLE take_gone IS 'Grafts that went before their take was read: the cause of loss, or sold, regrafted, label_lost, not_found. Site as in take.';

CREATE TABLE take_grafters (
    lot text NOT NULL,
    site text NOT NULL,
    grafter text NOT NULL,
    grafted bigint NOT NULL CHECK (grafted > 0),
    alone boolean NOT NULL,
    PRIMARY KEY (lot, grafter)
);
COMMENT ON TABLE take_grafters IS 'Who grafted how many of a lot; empty text where nobody was named. The take is read per lot, so only the take of lots that one grafter made alone says something of a grafter.';
CREATE INDEX take_grafters_grafter ON take_grafters (grafter);

CREATE TABLE losses (
    lot text NOT NULL,
    site text NOT NULL,
    cultivar text,
    rootstock text,
    stage text NOT NULL,
    cause text NOT NULL,
    commodity text NOT NULL CHECK (commodity IN ('plants', 'buds')),
    day date NOT NULL,
    quantity bigint NOT NULL,
    PRIMARY KEY (lot, site, stage, cause, commodity, day)
);
COMMENT ON TABLE losses IS 'What was lost or thrown away, per lot, cause and site day. Stage: of trees, or liners, or budwood; empty where it was not told (taken away at a push count).';
CREATE INDEX losses_day ON losses (day);

CREATE TABLE push_observations (
    lot text NOT NULL,
    number bigint NOT NULL,
    site text NOT NULL,
    place text NOT NULL,
    cultivar text,
    rootstock text,
    method text,
    attempt bigint NOT NULL,
    grafted_on date,
    outcome text NOT NULL CHECK (outcome IN ('pushed', 'waiting', 'failed', 'lost', 'gone')),
    cause text,
    after_day date,
    by_day date,
    seen_before boolean NOT NULL,
    trees bigint NOT NULL CHECK (trees > 0),
    PRIMARY KEY (lot, number),
    CHECK (after_day <= by_day)
);
COMMENT ON TABLE push_observations IS 'When grafts pushed, as far as walks can tell: some day after after_day, on by_day at the latest. A row per lot, place, outcome and interval; every graft of a lot is in one.';
COMMENT ON COLUMN push_observations.after_day IS 'The last day on which they were seen not pushed, or the day of grafting; null where neither is known (left-censored).';
COMMENT ON COLUMN push_observations.by_day IS 'The day on which the outcome was seen; null for those that wait or went unpushed (right-censored at after_day).';
COMMENT ON COLUMN push_observations.seen_before IS 'False: nobody had counted them before by_day, so after_day is the day of grafting.';

CREATE FUNCTION heirs_of_remade(after bigint, through bigint) RETURNS TABLE (code text, kind text)
LANGUAGE sql STABLE PARALLEL SAFE
BEGIN ATOMIC
    SELECT DISTINCT h.code, h.kind
    FROM subjects s
    JOIN lots m ON m.code = s.code AND m.position = s.position
    JOIN lots h ON h.ancestry @> ARRAY['lot:' || m.code]
    WHERE s.kind = 'lot' AND s.position > after AND s.position <= through
      AND EXISTS (
          SELECT FROM subjects p
          WHERE p.kind = 'lot' AND p.code = m.code AND p.position < m.position
      );
END;
COMMENT ON FUNCTION heirs_of_remade IS 'Lots that the events after one position up to another made anew after a void, and all that descends from them: their cultivar may be another now, though no event speaks of the heirs.';

-- Views kept so far did not look for them. Whoever changes what a view computes marks it like this.
ALTER TABLE view_checkpoints ADD COLUMN outdated boolean NOT NULL DEFAULT false;
COMMENT ON COLUMN view_checkpoints.outdated IS 'Its rows were computed in a way that was changed since: the runner builds it anew.';
UPDATE view_checkpoints SET outdated = true
WHERE view IN ('budwood', 'checks', 'lineage', 'ready_dates', 'stock_by_day');

GRANT SELECT, INSERT, UPDATE, DELETE ON take, take_gone, take_grafters, losses, push_observations
    TO graftlog_writer;
GRANT SELECT ON take, take_gone, take_grafters, losses, push_observations TO graftlog_reader;
