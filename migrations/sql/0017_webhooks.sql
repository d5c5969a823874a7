-- Who is told what by webhook, and how far. What is told is read from the log and the views: the
-- only thing kept here is a place in the log, and of what changes without an event what was said
-- of it last.
-- Run as graftlog_owner. Plain SQL for PostgreSQL 15 and newer.

CREATE SEQUENCE webhook_versions;
CREATE TABLE webhooks (
    code text PRIMARY KEY,
    id uuid NOT NULL DEFAULT gen_random_uuid(),
    owner text NOT NULL,
    sites text[] NOT NULL CHECK (cardinality(sites) > 0),
    url text NOT NULL,
    types text[],
    cultivar text,
    rootstock text,
    size text,
    note text,
    state text NOT NULL DEFAULT 'active' CHECK (state IN ('active', 'stopped')),
    stopped_because text,
    version bigint NOT NULL DEFAULT nextval('webhook_versions'),
    created_at timestamptz NOT NULL,
    changed_at timestamptz NOT NULL,
    changed_by text NOT NULL,
    position bigint NOT NULL,
    attempts bigint NOT NULL DEFAULT 0,
    next_at timestamptz,
    failing_since timestamptz,
    told_at timestamptz,
    message jsonb,
    test uuid
);
COMMENT ON COLUMN webhooks.id IS 'Ids of messages hang on it: a code that is used again is another webhook.';
COMMENT ON COLUMN webhooks.owner IS 'The name of the keys that it sees with: without a live one nothing is told.';
COMMENT ON COLUMN webhooks.sites IS 'Whose events it is told of; * for every site. Seen by keys that see them all: who can change where it goes is told of all of it.';
COMMENT ON COLUMN webhooks.types IS 'Types of events and topics; null for every event.';
COMMENT ON COLUMN webhooks.version IS 'Its ETag; never used twice. What was found out under another version does not count.';
COMMENT ON COLUMN webhooks.position IS 'Events up to here were told, or are not its to be told.';
COMMENT ON COLUMN webhooks.attempts IS 'How often the message at hand has failed.';
COMMENT ON COLUMN webhooks.message IS 'What is being told of a topic, until it has arrived: a retry says the same.';
COMMENT ON COLUMN webhooks.test IS 'The id of a test message that is to be sent.';
SELECT wall('webhooks', 'sites <@ (SELECT seen_sites())');
GRANT SELECT, INSERT, UPDATE, DELETE ON webhooks TO graftlog_writer;
GRANT USAGE ON SEQUENCE webhook_versions TO graftlog_writer;
GRANT SELECT ON webhooks TO graftlog_reader;

-- Not for the reader: no question needs them.
CREATE TABLE webhook_secrets (
    webhook text NOT NULL,
    number bigint GENERATED ALWAYS AS IDENTITY,
    sealed text NOT NULL,
    made_at timestamptz NOT NULL,
    until timestamptz,
    PRIMARY KEY (webhook, number)
);
COMMENT ON TABLE webhook_secrets IS 'What messages are signed with, encrypted with GRAFTLOG_SECRETS_KEY. until: replaced, and signed with until then.';
GRANT SELECT, INSERT, UPDATE, DELETE ON webhook_secrets TO graftlog_writer;

CREATE TABLE webhook_told (
    webhook text NOT NULL,
    topic text NOT NULL,
    subject text NOT NULL,
    said text NOT NULL,
    PRIMARY KEY (webhook, topic, subject)
);
COMMENT ON TABLE webhook_told IS 'What was said last of each subject of a topic: what differs from it is told next.';
GRANT SELECT, INSERT, UPDATE, DELETE ON webhook_told TO graftlog_writer;

CREATE TABLE webhook_deliveries (
    number bigint GENERATED ALWAYS AS IDENTITY PRIMARY KEY,
    webhook text NOT NULL,
    message text NOT NULL,
    type text NOT NULL,
    position bigint,
    attempt bigint NOT NULL,
    at timestamptz NOT NULL,
    outcome text NOT NULL,
    status bigint,
    milliseconds bigint NOT NULL,
    detail text,
    next_at timestamptz
);
COMMENT ON TABLE webhook_deliveries IS 'Every attempt to tell something, swept after some days.';
CREATE INDEX webhook_deliveries_webhook ON webhook_deliveries (webhook, number);
CREATE INDEX webhook_deliveries_at ON webhook_deliveries (at);
SELECT wall('webhook_deliveries', 'EXISTS (SELECT FROM webhooks w
    WHERE w.code = webhook_deliveries.webhook)');
GRANT SELECT, INSERT, DELETE ON webhook_deliveries TO graftlog_writer;
GRANT SELECT ON webhook_deliveries TO graftlog_reader;
