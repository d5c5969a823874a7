-- Work orders: grafting to do, and how far it has come.
-- Run as graftlog_owner. Plain SQL for PostgreSQL 15 and newer.

CREATE TABLE work_orders (
    code text PRIMARY KEY,
    site text NOT NULL,
    cultivar text NOT NULL,
    rootstock text NOT NULL,
    wanted bigint NOT NULL CHECK (wanted >= 1),
    needed_by date NOT NULL,
    made_day date NOT NULL,
    liner_lot text,
    method text,
    place text,
    grafters text[] NOT NULL,
    customer text,
    reservation text,
    note text,
    done bigint NOT NULL CHECK (done >= 0),
    ended text CHECK (ended IN ('done', 'cancelled', 'other')),
    ended_day date,
    position bigint NOT NULL,
    changed_position bigint NOT NULL,
    CHECK ((ended IS NULL) = (ended_day IS NULL))
);
COMMENT ON TABLE work_orders IS 'Grafting to do, in the writer''s books. wanted and done count from the order''s beginning; late and filled are questions, not states: an order is open until somebody ends it.';
COMMENT ON COLUMN work_orders.changed_position IS 'Of the last event that changed it or counts toward it.';
CREATE INDEX work_orders_open ON work_orders (site, cultivar) WHERE ended IS NULL;
CREATE INDEX work_orders_by ON work_orders (needed_by, code);

CREATE TABLE work_done (
    position bigint PRIMARY KEY,
    work_order text NOT NULL,
    site text NOT NULL,
    lot text NOT NULL,
    day date NOT NULL,
    count bigint NOT NULL,
    counts boolean NOT NULL,
    voided_by bigint
);
COMMENT ON TABLE work_done IS 'Graftings for a work order, by their events'' positions; counts: of the cultivar and rootstock that were ordered.';
CREATE INDEX work_done_order ON work_done (work_order, position);

COMMENT ON TABLE subjects IS 'Which events speak of a lot, bag, place, source_tree, hold, reservation, consignment or work_order; facts without legs included.';

GRANT SELECT ON work_orders, work_done TO graftlog_writer, graftlog_reader;
GRANT INSERT, UPDATE ON work_orders, work_done TO graftlog_writer;
