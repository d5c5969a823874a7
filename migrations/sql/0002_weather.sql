-- Daily temperatures per site, in versions, and the ready dates worked out from them.
-- Run as graftlog_owner.

CREATE TABLE temperature_versions (
    site text NOT NULL,
    version bigint NOT NULL,
    recorded_at timestamptz NOT NULL,
    recorded_by text NOT NULL,
    source text NOT NULL,
    days integer NOT NULL CHECK (days > 0),
    PRIMARY KEY (site, version)
);
COMMENT ON TABLE temperature_versions IS 'Each change of a site''s temperature record, dense from 1; recorded_at never runs back.';
COMMENT ON COLUMN temperature_versions.days IS 'How many days it wrote.';

CREATE TABLE temperatures (
    site text NOT NULL,
    day date NOT NULL,
    version bigint NOT NULL,
    min_c double precision,
    max_c double precision,
    source text NOT NULL,
    recorded_at timestamptz NOT NULL,
    recorded_by text NOT NULL,
    PRIMARY KEY (site, day, version),
    CHECK (min_c <= max_c),
    CHECK ((min_c IS NULL) = (max_c IS NULL))
);
COMMENT ON TABLE temperatures IS 'Degrees Celsius, to 0.01. The value of a day as known at a moment is that of the highest version recorded by then; null: withdrawn. Rows are only added: nobody but the owner may change or remove one.';
COMMENT ON COLUMN temperatures.source IS 'The sensor or service that measured it, as the sender named it.';

CREATE TABLE ready_dates (
    lot text NOT NULL,
    site text NOT NULL,
    cultivar text NOT NULL,
    rootstock text NOT NULL,
    crop text NOT NULL,
    places text[] NOT NULL,
    sizes text[] NOT NULL,
    trees bigint NOT NULL,
    graft_method text,
    grafted_on date,
    phase text NOT NULL CHECK (phase IN ('grafted', 'pushed')),
    counted_from date,
    expected date,
    earliest date,
    latest date,
    degree_day_method text,
    cutoff text,
    lower_c double precision,
    upper_c double precision,
    needed double precision,
    accumulated double precision,
    gap_days integer NOT NULL,
    n_years integer NOT NULL,
    basis text,
    basis_n integer,
    remarks text[] NOT NULL,
    as_of date NOT NULL,
    temperature_version bigint NOT NULL,
    position bigint NOT NULL,
    computed_at timestamptz NOT NULL,
    PRIMARY KEY (lot, site)
);
COMMENT ON TABLE ready_dates IS 'Per tree lot with trees not yet ready, and site: a view, recomputed from the log and the temperatures. Degree-days (Cd) counted from counted_from to the end of the day before as_of.';
COMMENT ON COLUMN ready_dates.position IS 'Of the log: everything up to it is reflected.';
CREATE INDEX ready_dates_order ON ready_dates ((coalesce(expected, 'infinity'::date)), lot, site);

GRANT SELECT ON temperature_versions, temperatures, ready_dates TO graftlog_writer, graftlog_reader;
GRANT INSERT ON temperature_versions, temperatures, ready_dates TO graftlog_writer;
GRANT DELETE ON ready_dates TO graftlog_writer;
