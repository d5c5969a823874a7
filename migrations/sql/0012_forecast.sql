-- What the forecast says: ready dates, supply, lead times, what was learned; and what it said before.
-- Run as graftlog_owner. Plain SQL for PostgreSQL 15 and newer.

-- The first forecast's table held nothing but figures worked out from the log and the temperatures.
-- squawk-ignore ban-drop-table
DROP TABLE ready_dates;
-- Nothing else asked for it.
-- squawk-ignore ban-drop-function
DROP FUNCTION pushes_of(text, date, text [], bigint);
DELETE FROM view_faults WHERE view = 'ready_dates';
DELETE FROM view_checkpoints WHERE view = 'ready_dates';

CREATE TABLE forecasts (
    forecast bigint GENERATED ALWAYS AS IDENTITY PRIMARY KEY,
    made_at timestamptz NOT NULL,
    position bigint NOT NULL,
    days jsonb NOT NULL,
    weather jsonb NOT NULL,
    draws bigint NOT NULL,
    seconds double precision NOT NULL,
    remarks text[] NOT NULL
);
COMMENT ON TABLE forecasts IS 'Each forecast that was made, of all sites at once; the newest one is told in the tables below.';
COMMENT ON COLUMN forecasts.position IS 'Of the log: everything up to it is reflected.';
COMMENT ON COLUMN forecasts.days IS 'Each site''s own calendar day then.';
COMMENT ON COLUMN forecasts.weather IS 'What was known of the weather, to see when it changed.';

CREATE TABLE ready_dates (
    lot text NOT NULL,
    site text NOT NULL,
    cultivar text NOT NULL,
    rootstock text NOT NULL,
    crop text NOT NULL,
    method text NOT NULL,
    grafted_on date,
    places text[] NOT NULL,
    sizes text[] NOT NULL,
    trees bigint NOT NULL,
    phase text NOT NULL CHECK (phase IN ('grafted', 'pushed')),
    counted_from date,
    p20 date,
    p50 date,
    p80 date,
    ready_expected double precision,
    ready_low bigint,
    ready_high bigint,
    counted double precision,
    needed double precision,
    needed_low double precision,
    needed_high double precision,
    counting text NOT NULL,
    lower_c double precision,
    upper_c double precision,
    gap_days bigint NOT NULL,
    years bigint NOT NULL,
    based_on_trees bigint NOT NULL,
    based_on_lots bigint NOT NULL,
    fallback text NOT NULL,
    why text NOT NULL,
    remarks text[] NOT NULL,
    weather_ahead text NOT NULL,
    temperature_version bigint NOT NULL,
    as_of date NOT NULL,
    position bigint NOT NULL,
    made_at timestamptz NOT NULL,
    PRIMARY KEY (lot, site)
);
COMMENT ON TABLE ready_dates IS 'Per tree lot with trees not yet ready, and site: the day by which half of its trees that will be ready are, as the newest forecast tells it. Texts are empty where not known.';
COMMENT ON COLUMN ready_dates.p50 IS 'The middle day: as likely earlier as later. 2 in 10 it is p20 or earlier, 8 in 10 p80 or earlier. Null: cannot be told, why says the reason.';
COMMENT ON COLUMN ready_dates.counted IS 'Degree-days (Cd) from the day after counted_from to the end of the day before as_of.';
COMMENT ON COLUMN ready_dates.as_of IS 'The site''s own day on which it was told.';
CREATE INDEX ready_dates_order ON ready_dates ((coalesce(p50, 'infinity'::date)), lot, site);

CREATE TABLE supply (
    cultivar text NOT NULL,
    rootstock text NOT NULL,
    size text NOT NULL,
    grade text NOT NULL,
    site text NOT NULL,
    first date NOT NULL,
    step_days bigint NOT NULL,
    levels double precision[] NOT NULL,
    quantities bigint[] NOT NULL,
    mean double precision[] NOT NULL,
    trees bigint NOT NULL,
    went_out bigint NOT NULL,
    position bigint NOT NULL,
    made_at timestamptz NOT NULL,
    PRIMARY KEY (cultivar, rootstock, size, grade, site)
);
COMMENT ON TABLE supply IS 'Per item (grade empty: of any grade) and site (empty: all sites together): how many will be ready and free to sell by each day told. Sales and reservations are not taken off; held trees and trees grown for a customer are not in.';
COMMENT ON COLUMN supply.quantities IS 'A row of levels per day told, one after the other: element 1 + step * cardinality(levels) + n says how many at least by first + step * step_days, with probability levels[1 + n].';
COMMENT ON COLUMN supply.mean IS 'Expected number by each day told.';
COMMENT ON COLUMN supply.trees IS 'How many trees it rests on: ready now, and still growing.';
COMMENT ON COLUMN supply.went_out IS 'What had gone out of this item here (all sites together where site is empty) by the position told.';

CREATE TABLE lead_times (
    site text NOT NULL,
    crop text NOT NULL,
    method text NOT NULL,
    grafted_on date NOT NULL,
    days bigint[] NOT NULL,
    nearly bigint[] NOT NULL,
    levels double precision[] NOT NULL,
    take double precision NOT NULL,
    push double precision NOT NULL,
    survival double precision NOT NULL,
    fit double precision NOT NULL,
    mean double precision NOT NULL,
    correlation double precision NOT NULL,
    lots bigint NOT NULL,
    fallback text NOT NULL,
    position bigint NOT NULL,
    made_at timestamptz NOT NULL,
    PRIMARY KEY (site, crop, method, grafted_on)
);
COMMENT ON TABLE lead_times IS 'Grafts of a crop by a method at a site on a day: how long until half of a lot is ready, and which share of them becomes ready.';
COMMENT ON COLUMN lead_times.days IS 'With probability levels[n] at most so many days until half of those that will be ready are; null: beyond what is looked ahead.';
COMMENT ON COLUMN lead_times.nearly IS 'The same until nine in ten of those that will be ready are.';
COMMENT ON COLUMN lead_times.correlation IS 'Within a lot, of the share that becomes ready of grafted, beta-binomial between lots with the mean of column mean.';

CREATE TABLE learned (
    crop text NOT NULL,
    what text NOT NULL,
    method text NOT NULL,
    site text NOT NULL,
    middle double precision NOT NULL,
    low double precision NOT NULL,
    high double precision NOT NULL,
    lot_low double precision NOT NULL,
    lot_high double precision NOT NULL,
    spread double precision NOT NULL,
    family text NOT NULL,
    counting text NOT NULL,
    trees bigint NOT NULL,
    lots bigint NOT NULL,
    fallback text NOT NULL,
    position bigint NOT NULL,
    made_at timestamptz NOT NULL,
    PRIMARY KEY (crop, what, method, site, counting)
);
COMMENT ON TABLE learned IS 'What the nursery''s own counts teach of each crop: degree-days (Cd) to push and to ready, shares that take, survive, never push, are never fit. method, site empty: all together.';
COMMENT ON COLUMN learned.low IS 'low to high holds the true middle with probability 0.8; a single lot lies within lot_low to lot_high with 0.8.';

CREATE TABLE foretold_before (
    what text NOT NULL,
    site text NOT NULL,
    day date NOT NULL,
    position bigint NOT NULL,
    made_at timestamptz NOT NULL,
    rows jsonb NOT NULL,
    PRIMARY KEY (what, site, day)
);
COMMENT ON TABLE foretold_before IS 'What the last forecast of each of a site''s days told: rows of ready_dates or supply. Kept 400 days, so that old questions are answered by what was said then.';

CREATE FUNCTION told_by_then(
    of text, sites text[], days date[], known bigint, until timestamptz
) RETURNS TABLE (site text, rows jsonb) LANGUAGE sql STABLE PARALLEL SAFE
AS $$
    SELECT asked.site, found.rows
    FROM unnest(sites, days) AS asked (site, day)
    CROSS JOIN LATERAL (
        SELECT b.rows
        FROM foretold_before b
        WHERE b.what = of AND b.site = asked.site AND b.day <= asked.day
          AND (known IS NULL OR b.position <= known)
          AND (until IS NULL OR b.made_at <= until)
        ORDER BY b.day DESC
        LIMIT 1
    ) AS found
$$;
COMMENT ON FUNCTION told_by_then IS 'Per site the rows that the last forecast told by the end of its day there; of a forecast that reflects no later position than known and was made by until (null: any).';

-- The walls: by the site; what all sites gave together is shown to whoever sees all of them, and what
-- was learned of a crop over all sites to whoever sees any.
SELECT wall('ready_dates', 'site = ANY ((SELECT seen_sites())::text[])');
SELECT wall('supply', 'site = ANY ((SELECT seen_sites())::text[])');
SELECT wall('lead_times', 'site = ANY ((SELECT seen_sites())::text[])');
SELECT wall('foretold_before', 'site = ANY ((SELECT seen_sites())::text[])');
SELECT wall('learned', $$site = ANY ((SELECT seen_sites())::text[])
    OR (site = '' AND (SELECT seen_sites()) IS NOT NULL)$$);

GRANT SELECT ON ready_dates, supply, lead_times, learned, foretold_before TO graftlog_reader;
GRANT SELECT, INSERT, DELETE ON forecasts, ready_dates, supply, lead_times, learned, foretold_before
    TO graftlog_writer;
GRANT UPDATE ON foretold_before TO graftlog_writer;
