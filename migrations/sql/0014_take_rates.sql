-- Take and survival compared, and curves of the push, as the newest forecast learned them.
-- Run as graftlog_owner. Plain SQL for PostgreSQL 15 and newer.

CREATE TABLE take_rates (
    measure text NOT NULL CHECK (measure IN ('take', 'survival')),
    factor text NOT NULL,
    site text NOT NULL,
    crop text NOT NULL,
    level text NOT NULL,
    hits bigint NOT NULL,
    n bigint NOT NULL CHECK (n >= hits),
    lots bigint NOT NULL,
    low double precision NOT NULL,
    high double precision NOT NULL,
    adjusted double precision NOT NULL,
    adjusted_low double precision NOT NULL,
    adjusted_high double precision NOT NULL,
    rank bigint NOT NULL,
    position bigint NOT NULL,
    made_at timestamptz NOT NULL,
    PRIMARY KEY (measure, factor, site, crop, level)
);
COMMENT ON TABLE take_rates IS 'Share of grafts that took, or of pushed trees that became ready, by the levels of a factor: plain, with Wilson''s 95 % interval, and adjusted for the other factors. Site empty: all sites together. Crop empty: over all crops.';
COMMENT ON COLUMN take_rates.rank IS '1: the best of the levels with grafts enough to be ranked; 0: not ranked.';

CREATE TABLE push_curves (
    crop text NOT NULL,
    method text NOT NULL,
    since text NOT NULL CHECK (since IN ('grafting', 'forcing')),
    counting text NOT NULL,
    degree_days double precision [] NOT NULL,
    share double precision [] NOT NULL CHECK (cardinality(share) = cardinality(degree_days)),
    fitted double precision [] NOT NULL CHECK (cardinality(fitted) IN (0, cardinality(degree_days))),
    trees bigint NOT NULL,
    lots bigint NOT NULL,
    pushed bigint NOT NULL,
    failed bigint NOT NULL,
    lost bigint NOT NULL,
    position bigint NOT NULL,
    made_at timestamptz NOT NULL,
    PRIMARY KEY (crop, method, since, counting)
);
COMMENT ON TABLE push_curves IS 'By so many degree-days (Cd) such a share of grafts had pushed: as counted (the non-parametric estimate of Turnbull 1976) and as fitted (empty: no fit). Learned over all sites, so it has none.';

SELECT wall('take_rates', 'site = ANY ((SELECT seen_sites())::text[])');
-- What was learned of a crop over all sites is shown to whoever sees any.
SELECT wall('push_curves', '(SELECT seen_sites()) IS NOT NULL');
GRANT SELECT ON take_rates, push_curves TO graftlog_writer, graftlog_reader;
GRANT INSERT, DELETE ON take_rates, push_curves TO graftlog_writer;

-- What could not be told at a push count no longer hides what was seen of the other grafts there.
UPDATE view_checkpoints SET outdated = true WHERE view = 'push_observations';
