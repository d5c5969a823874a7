-- What went out of each item, and what an owner says may be promised of one: kept by the writer.
-- Run as graftlog_owner. Plain SQL for PostgreSQL 15 and newer.

CREATE TABLE item_out (
    cultivar text NOT NULL,
    rootstock text NOT NULL,
    size text NOT NULL,
    grade text NOT NULL,
    site text NOT NULL,
    total bigint NOT NULL,
    PRIMARY KEY (cultivar, rootstock, size, grade, site)
);
COMMENT ON TABLE item_out IS 'Trees sold of each item at each site, voided sales taken back, in the writer''s books; grade `ungraded`: sold without one. Only the difference of two totals means anything: what went out between two positions. Trees grown for a customer are not in, as they are not in supply.';

CREATE TABLE promise_overrides (
    code text PRIMARY KEY,
    site text NOT NULL,
    any_site boolean NOT NULL,
    cultivar text NOT NULL,
    rootstock text NOT NULL,
    size text NOT NULL,
    grade text NOT NULL,
    quantity bigint NOT NULL CHECK (quantity >= 0),
    from_day date NOT NULL,
    until_day date NOT NULL,
    reason text NOT NULL,
    went_out bigint NOT NULL,
    position bigint NOT NULL,
    changed_position bigint NOT NULL,
    ended_day date,
    CHECK (from_day <= until_day)
);
COMMENT ON TABLE promise_overrides IS 'What somebody with the right to says may be promised of an item (grade empty: of any) for days from from_day to until_day, in the place of the forecast: at its site, or with any_site of all sites together.';
COMMENT ON COLUMN promise_overrides.went_out IS 'Of what it speaks of, what had gone out when it was recorded: what went out since is taken off quantity.';
COMMENT ON COLUMN promise_overrides.ended_day IS 'It was ended before its time: it counts no more.';
CREATE INDEX promise_overrides_item ON promise_overrides (cultivar, rootstock, size)
WHERE ended_day IS NULL;

ALTER TABLE log_head ADD COLUMN out_from bigint NOT NULL DEFAULT 0;
COMMENT ON COLUMN log_head.out_from IS 'item_out counts the sales after this position: those of before were recorded by a version that did not keep it.';
UPDATE log_head SET out_from = position;

COMMENT ON TABLE subjects IS 'Which events speak of a lot, bag, place, source_tree, hold, reservation, consignment, work_order or override; facts without legs included.';

GRANT SELECT ON item_out, promise_overrides TO graftlog_writer, graftlog_reader;
GRANT INSERT, UPDATE ON item_out, promise_overrides TO graftlog_writer;
SELECT wall('item_out', 'site = ANY ((SELECT seen_sites())::text[])');
SELECT wall('promise_overrides', 'site = ANY ((SELECT seen_sites())::text[])');
