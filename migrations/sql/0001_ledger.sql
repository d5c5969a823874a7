-- The log, the writer's books, keys and the bookkeeping of views and jobs.
-- Run as graftlog_owner. Plain SQL for PostgreSQL 15 and newer.

-- The log -------------------------------------------------------------------

CREATE TABLE log_head (
    one boolean PRIMARY KEY DEFAULT true CHECK (one),
    position bigint NOT NULL,
    recorded_at timestamptz NOT NULL,
    next_account_id bigint NOT NULL,
    next_lot_id bigint NOT NULL,
    next_code bigint NOT NULL,
    catalogue_position bigint NOT NULL,
    holds_position bigint NOT NULL
);
COMMENT ON TABLE log_head IS 'The newest position; read and written only under the writer''s lock.';
INSERT INTO log_head VALUES (true, 0, '1900-01-01T00:00:00Z', 1, 1, 0, 0, 0);

CREATE TABLE events (
    position bigint PRIMARY KEY,
    id uuid NOT NULL UNIQUE,
    type text NOT NULL,
    version smallint NOT NULL,
    site text NOT NULL,
    sites text[] NOT NULL,
    occurred text NOT NULL,
    occurred_at timestamptz NOT NULL,
    occurred_day date NOT NULL,
    recorded_at timestamptz NOT NULL,
    recorded_by text NOT NULL,
    actor text,
    happened boolean NOT NULL,
    replaces uuid,
    unit uuid NOT NULL,
    digest bytea NOT NULL,
    remarks jsonb NOT NULL,
    data jsonb NOT NULL
);
COMMENT ON COLUMN events.unit IS 'Events judged together share it.';
COMMENT ON COLUMN events.data IS 'The completed data: nothing left to default or to derive.';
COMMENT ON COLUMN events.digest IS 'SHA-256 of the event as sent, to tell a retry from a reused id.';
CREATE INDEX events_type ON events (type, position);
CREATE INDEX events_recorded ON events USING brin (recorded_at);

CREATE TABLE voids (
    voided_position bigint PRIMARY KEY,
    by_position bigint NOT NULL
);

CREATE TABLE subjects (
    kind text NOT NULL,
    code text NOT NULL,
    occurred_at timestamptz NOT NULL,
    position bigint NOT NULL,
    PRIMARY KEY (kind, code, occurred_at, position)
);
COMMENT ON TABLE subjects IS 'Which events speak of a lot, bag, place, source_tree, hold, reservation or consignment; facts without legs included.';
CREATE INDEX subjects_position ON subjects USING brin (position);

CREATE FUNCTION refuse_change() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    RAISE EXCEPTION 'the log is append-only: % on % refused', TG_OP, TG_TABLE_NAME
        USING ERRCODE = 'restrict_violation';
END $$;
CREATE TRIGGER events_append_only BEFORE UPDATE OR DELETE ON events
    FOR EACH ROW EXECUTE FUNCTION refuse_change();
CREATE TRIGGER events_no_truncate BEFORE TRUNCATE ON events
    FOR EACH STATEMENT EXECUTE FUNCTION refuse_change();

-- The writer's books --------------------------------------------------------

CREATE TABLE catalogue (
    kind text NOT NULL,
    code text NOT NULL,
    site text,
    position bigint NOT NULL,
    body jsonb NOT NULL,
    PRIMARY KEY (kind, code)
);
COMMENT ON COLUMN catalogue.position IS 'Of the entry''s last change: its ETag.';

CREATE TABLE lots (
    lot_id bigint PRIMARY KEY,
    code text NOT NULL UNIQUE,
    kind text NOT NULL CHECK (kind IN ('budwood', 'liner', 'tree')),
    site text NOT NULL,
    cultivar text,
    rootstock text,
    source text,
    method text,
    day date,
    attempt smallint NOT NULL DEFAULT 1,
    basis text NOT NULL DEFAULT 'counted',
    identified boolean NOT NULL DEFAULT true,
    grown_for text,
    parents text[] NOT NULL,
    ancestry text[] NOT NULL,
    position bigint NOT NULL,
    changed_position bigint NOT NULL,
    voided boolean NOT NULL DEFAULT false
);
COMMENT ON COLUMN lots.day IS 'Of cutting, of receipt, of grafting; null where unknown.';
COMMENT ON COLUMN lots.source IS 'The original source: source_tree:CODE, or lot:CODE of received budwood without a known tree.';
COMMENT ON COLUMN lots.ancestry IS 'lot:CODE, bag:CODE and source_tree:CODE of itself and all it descends from.';
COMMENT ON COLUMN lots.voided IS 'The event that made it was voided; its code may be used again.';
COMMENT ON COLUMN lots.position IS 'Of the event that made it; changed_position of the last event that touched it: its ETag.';
CREATE INDEX lots_ancestry ON lots USING gin (ancestry);

CREATE TABLE bags (
    code text PRIMARY KEY,
    lot_id bigint NOT NULL,
    buds integer NOT NULL,
    sticks integer,
    basis text NOT NULL,
    parent text,
    pieces integer,
    buds_per_piece integer,
    position bigint NOT NULL,
    voided boolean NOT NULL DEFAULT false
);
CREATE INDEX bags_lot ON bags (lot_id);

CREATE TABLE balances (
    lot_id bigint NOT NULL,
    account_id bigint NOT NULL,
    kind text NOT NULL,
    site text NOT NULL,
    place text NOT NULL,
    stage text NOT NULL,
    size text NOT NULL,
    grade text NOT NULL,
    ref text NOT NULL,
    commodity text NOT NULL CHECK (commodity IN ('buds', 'plants')),
    balance bigint NOT NULL,
    last_day date NOT NULL,
    PRIMARY KEY (lot_id, account_id),
    UNIQUE (lot_id, kind, site, place, stage, size, grade, ref, commodity),
    CHECK (balance >= 0 OR kind IN ('source', 'variance'))
) WITH (fillfactor = 70);
COMMENT ON TABLE balances IS 'Accounts with their balance now. Kinds: source, variance (may be negative); bag, liners, trees, transit (in the nursery); used, discarded, lost, customer (gone). Empty text where a part does not apply.';
COMMENT ON COLUMN balances.ref IS 'bag: the bag; discarded, lost: the cause; customer: the customer; source: supplier, source tree or opening.';
-- No index speaks of the balance itself, and pages keep room: so an update stays on its page.
CREATE INDEX balances_place ON balances (place) WHERE kind IN ('bag', 'liners', 'trees');
CREATE INDEX balances_kind_site ON balances (kind, site);
CREATE INDEX balances_transit ON balances (place) WHERE kind = 'transit';

CREATE TABLE legs (
    lot_id bigint NOT NULL,
    account_id bigint NOT NULL,
    occurred_day date NOT NULL,
    occurred_at timestamptz NOT NULL,
    position bigint NOT NULL,
    site text NOT NULL,
    delta bigint NOT NULL,
    anchor bigint
);
COMMENT ON COLUMN legs.anchor IS 'Position of the count that this leg keeps true (a late event''s opposite), else null.';
CREATE INDEX legs_account ON legs (lot_id, account_id, occurred_day);
CREATE INDEX legs_day ON legs (occurred_day);
CREATE INDEX legs_position ON legs USING brin (position) WITH (pages_per_range = 16);

CREATE TABLE anchors (
    lot_id bigint NOT NULL,
    account_id bigint NOT NULL,
    occurred_day date NOT NULL,
    occurred_at timestamptz NOT NULL,
    timed boolean NOT NULL,
    position bigint NOT NULL,
    voided_by bigint,
    PRIMARY KEY (lot_id, account_id, position)
);
COMMENT ON TABLE anchors IS 'Counts of an account: what was counted stays what was counted.';

CREATE TABLE consignments (
    code text PRIMARY KEY,
    from_site text NOT NULL,
    to_site text NOT NULL,
    sent_day date NOT NULL,
    sent_position bigint NOT NULL,
    received_day date,
    received_position bigint,
    voided boolean NOT NULL DEFAULT false
);

CREATE TABLE holds (
    code text PRIMARY KEY,
    kind text NOT NULL,
    target text NOT NULL,
    target_code text NOT NULL,
    site text NOT NULL,
    reason text NOT NULL,
    from_day date NOT NULL,
    position bigint NOT NULL,
    lifted_day date,
    lifted_position bigint
);

CREATE TABLE reservations (
    code text PRIMARY KEY,
    customer text NOT NULL,
    site text NOT NULL,
    any_site boolean NOT NULL,
    made_day date NOT NULL,
    needed_by date,
    expires_at timestamptz,
    state text NOT NULL CHECK (state IN ('open', 'fulfilled', 'released')),
    position bigint NOT NULL,
    changed_position bigint NOT NULL
);
CREATE TABLE commitments (
    reservation text NOT NULL,
    line integer NOT NULL,
    item text NOT NULL,
    cultivar text NOT NULL,
    lot text,
    site text,
    asked bigint NOT NULL CHECK (asked >= 0),
    open bigint NOT NULL CHECK (open >= 0),
    needed_by date,
    expires_at timestamptz,
    PRIMARY KEY (reservation, line)
);
COMMENT ON COLUMN commitments.item IS 'cultivar/rootstock/size/grade of trees (grade empty for any), or buds/cultivar; site null: trees of any site will do.';
CREATE INDEX commitments_cultivar ON commitments (cultivar) WHERE open > 0;

-- What people sent ----------------------------------------------------------

CREATE TABLE idempotency (
    principal text NOT NULL,
    key text NOT NULL,
    method_path text NOT NULL,
    fingerprint bytea NOT NULL,
    status smallint NOT NULL,
    headers jsonb NOT NULL,
    body bytea NOT NULL,
    recorded_at timestamptz NOT NULL,
    PRIMARY KEY (principal, key)
);
CREATE INDEX idempotency_recorded ON idempotency USING brin (recorded_at);

CREATE TABLE to_put_right (
    id bigint GENERATED ALWAYS AS IDENTITY PRIMARY KEY,
    event_id uuid,
    principal text NOT NULL,
    site text,
    raw bytea NOT NULL,
    reasons jsonb NOT NULL,
    attempts integer NOT NULL DEFAULT 1,
    state text NOT NULL DEFAULT 'open' CHECK (state IN ('open', 'recorded', 'discarded')),
    first_at timestamptz NOT NULL,
    last_at timestamptz NOT NULL,
    resolved_position bigint
);
CREATE UNIQUE INDEX to_put_right_event ON to_put_right (event_id);
COMMENT ON TABLE to_put_right IS 'What a person recorded and the log refused, kept as it came.';

CREATE TABLE keys (
    key_id text PRIMARY KEY,
    secret_sha256 bytea NOT NULL,
    name text NOT NULL,
    scopes text[] NOT NULL,
    sites text[] NOT NULL,
    created_at timestamptz NOT NULL DEFAULT now(),
    expires_at timestamptz,
    revoked_at timestamptz,
    last_used_day date
);

-- Views and jobs ------------------------------------------------------------

CREATE TABLE view_checkpoints (
    view text NOT NULL,
    generation integer NOT NULL,
    position bigint NOT NULL,
    live boolean NOT NULL,
    updated_at timestamptz NOT NULL DEFAULT now(),
    PRIMARY KEY (view, generation)
);
CREATE TABLE view_faults (
    view text NOT NULL,
    generation integer NOT NULL,
    subject text NOT NULL,
    position bigint NOT NULL,
    error text NOT NULL,
    at timestamptz NOT NULL DEFAULT now(),
    PRIMARY KEY (view, generation, subject)
);
CREATE TABLE ticks (
    job text NOT NULL,
    tick timestamptz NOT NULL,
    started_at timestamptz NOT NULL DEFAULT now(),
    ended_at timestamptz,
    outcome text,
    PRIMARY KEY (job, tick)
);
COMMENT ON TABLE ticks IS 'Each tick of a job is run by the process that inserts its row.';

-- Rights: the service never owns what it writes -------------------------------

GRANT USAGE ON SCHEMA public TO graftlog_writer, graftlog_reader;
GRANT SELECT ON ALL TABLES IN SCHEMA public TO graftlog_writer, graftlog_reader;
GRANT INSERT ON events, voids, subjects, legs TO graftlog_writer;
GRANT INSERT, UPDATE ON catalogue, lots, bags, balances, anchors, consignments, holds,
    reservations, commitments, to_put_right, keys, view_checkpoints, view_faults, ticks
    TO graftlog_writer;
GRANT UPDATE ON log_head TO graftlog_writer;
GRANT DELETE ON commitments, view_checkpoints, view_faults, ticks TO graftlog_writer;
GRANT INSERT, DELETE ON idempotency TO graftlog_writer;
REVOKE SELECT ON keys, idempotency FROM graftlog_reader;
