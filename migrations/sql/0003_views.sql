-- What people ask: tables computed from the log, and the alerts. All but the rows of `alerts`
-- with origin 'watch' can be emptied and computed again.
-- Run as graftlog_owner. Plain SQL for PostgreSQL 15 and newer.

CREATE TABLE stock_by_day (
    site text NOT NULL,
    kind text NOT NULL,
    cultivar text NOT NULL,
    rootstock text NOT NULL,
    size text NOT NULL,
    stage text NOT NULL,
    grade text NOT NULL,
    commodity text NOT NULL,
    day date NOT NULL,
    delta bigint NOT NULL,
    PRIMARY KEY (site, kind, cultivar, rootstock, size, stage, grade, commodity, day)
);
COMMENT ON TABLE stock_by_day IS 'Net change of each kind of stock by site day; a running sum is the stock. Empty text where a part does not apply.';
CREATE INDEX stock_by_day_nil ON stock_by_day (day) WHERE delta = 0;

CREATE TABLE budwood_on_hand (
    bag text NOT NULL,
    place text NOT NULL,
    lot text NOT NULL,
    site text NOT NULL,
    cultivar text,
    crop text,
    source text,
    buds bigint NOT NULL,
    basis text NOT NULL,
    sticks integer,
    pieces integer,
    cut_on date,
    received_on date NOT NULL,
    keep_days integer,
    keep_days_source text,
    use_by date,
    PRIMARY KEY (bag, place)
);
COMMENT ON COLUMN budwood_on_hand.use_by IS 'Day of cutting (of receipt where that is unknown) plus the crop''s keeping time; null where none is known.';
CREATE INDEX budwood_on_hand_lot ON budwood_on_hand (lot);
CREATE INDEX budwood_on_hand_site ON budwood_on_hand (site, use_by);

CREATE TABLE checks_due (
    lot text NOT NULL,
    place text NOT NULL,
    check_name text NOT NULL,
    site text NOT NULL,
    cultivar text,
    rootstock text,
    plan text NOT NULL,
    after text NOT NULL,
    counted_from date NOT NULL,
    due_on date NOT NULL,
    overdue_on date NOT NULL,
    last_done date,
    trees bigint NOT NULL,
    source text NOT NULL,
    PRIMARY KEY (lot, place, check_name)
);
COMMENT ON TABLE checks_due IS 'The next day of each check of a lot at a place, or of a look at a place (lot empty). Whether it is due or overdue is asked with the site''s own day.';
COMMENT ON COLUMN checks_due.overdue_on IS 'The first day on which it is overdue.';
CREATE INDEX checks_due_day ON checks_due (due_on, site, place, lot, check_name);
CREATE INDEX checks_due_place ON checks_due (place);

CREATE TABLE lineage (
    child text NOT NULL,
    parent text NOT NULL,
    lot text NOT NULL,
    PRIMARY KEY (child, parent)
);
COMMENT ON TABLE lineage IS 'What came of what: source_tree:CODE, lot:CODE and bag:CODE. lot is the lot whose recomputing writes the row.';
CREATE INDEX lineage_parent ON lineage (parent);
CREATE INDEX lineage_lot ON lineage (lot);

CREATE TABLE alerts (
    id uuid PRIMARY KEY,
    key text NOT NULL UNIQUE,
    kind text NOT NULL,
    origin text NOT NULL CHECK (origin IN ('event', 'watch')),
    site text,
    sites text[] NOT NULL,
    lot text,
    place text,
    check_name text,
    due_on date,
    level smallint NOT NULL DEFAULT 1,
    event_position bigint,
    subject text,
    detail text NOT NULL,
    numbers jsonb NOT NULL,
    raised_at timestamptz NOT NULL,
    closed_at timestamptz,
    closed_because text
);
COMMENT ON COLUMN alerts.id IS 'UUIDv5 of the key, so that what was said of an alert finds it again after a rebuild.';
COMMENT ON COLUMN alerts.origin IS 'event: from the log, can be computed again; watch: raised by a look at the calendar and kept.';
CREATE INDEX alerts_raised ON alerts (raised_at, id);
CREATE INDEX alerts_open_lot ON alerts (lot, place, check_name) WHERE closed_at IS NULL;
CREATE INDEX alerts_event ON alerts (event_position);

CREATE TABLE alert_words (
    alert uuid NOT NULL,
    position bigint NOT NULL,
    word text NOT NULL CHECK (word IN ('acknowledged', 'remind_on')),
    said_at timestamptz NOT NULL,
    remind_on date,
    actor text,
    note text,
    PRIMARY KEY (alert, position)
);
COMMENT ON TABLE alert_words IS 'What people said of alerts; the newest word by time counts.';

-- A view has one live generation, whoever begins or rebuilds it.
CREATE UNIQUE INDEX view_checkpoints_live ON view_checkpoints (view) WHERE live;

-- Views ask which events a batch voided.
CREATE INDEX voids_by ON voids (by_position);

GRANT SELECT, INSERT, UPDATE, DELETE ON stock_by_day, budwood_on_hand, checks_due, lineage,
    alerts, alert_words TO graftlog_writer;
GRANT SELECT ON stock_by_day, budwood_on_hand, checks_due, lineage, alerts, alert_words
    TO graftlog_reader;
