-- People who sign in to the pages: what they may do at which sites, their devices, and the one link
-- that lets a device in. Names and addresses stay in contacts, under the same reference.
-- Run as graftlog_owner. Plain SQL for PostgreSQL 15 and newer.

CREATE SEQUENCE people_versions;
CREATE TABLE people (
    reference text PRIMARY KEY,
    scopes text[] NOT NULL CHECK (cardinality(scopes) > 0),
    sites text[] NOT NULL CHECK (cardinality(sites) > 0),
    language text NOT NULL CHECK (language IN ('en', 'es')),
    temperature text NOT NULL CHECK (temperature IN ('c', 'f')),
    length text NOT NULL CHECK (length IN ('mm', 'in')),
    home_site text,
    version bigint NOT NULL DEFAULT nextval('people_versions'),
    changed_at timestamptz NOT NULL,
    changed_by text NOT NULL
);
COMMENT ON COLUMN people.reference IS 'The actor of what they record, and the name they ask by.';
COMMENT ON COLUMN people.sites IS 'Where they work; * for every site.';
COMMENT ON COLUMN people.version IS 'Their ETag; never used twice. What they choose for themselves does not count.';
SELECT wall('people', 'sites && (SELECT seen_sites()) OR reference = (SELECT asker())');
GRANT SELECT, INSERT, UPDATE, DELETE ON people TO graftlog_writer;
GRANT USAGE ON SEQUENCE people_versions TO graftlog_writer;
GRANT SELECT ON people TO graftlog_reader;

-- Not for the reader: no question needs them.
CREATE TABLE sign_in_links (
    person text PRIMARY KEY REFERENCES people (reference) ON DELETE CASCADE,
    token_sha256 bytea NOT NULL UNIQUE,
    ends_at timestamptz NOT NULL,
    code_head text UNIQUE,
    code_sha256 bytea,
    code_ends_at timestamptz,
    wrong bigint NOT NULL DEFAULT 0,
    made_at timestamptz NOT NULL,
    made_by text NOT NULL
);
COMMENT ON TABLE sign_in_links IS 'The newest link of a person that was not used. Using it deletes the row.';
COMMENT ON COLUMN sign_in_links.code_head IS 'The part of the short code that a row is found by; the rest is kept as its hash.';
COMMENT ON COLUMN sign_in_links.wrong IS 'How often the rest of the code was guessed at.';
GRANT SELECT, INSERT, UPDATE, DELETE ON sign_in_links TO graftlog_writer;

CREATE TABLE devices (
    device uuid PRIMARY KEY,
    person text NOT NULL REFERENCES people (reference) ON DELETE CASCADE,
    cookie_sha256 bytea NOT NULL UNIQUE,
    label text NOT NULL,
    signed_in_at timestamptz NOT NULL,
    last_seen_at timestamptz NOT NULL,
    ends_at timestamptz NOT NULL
);
COMMENT ON TABLE devices IS 'Browsers that are signed in. Signing out, by whomever, deletes the row.';
COMMENT ON COLUMN devices.last_seen_at IS 'To the hour.';
CREATE INDEX devices_person ON devices (person);
GRANT SELECT, INSERT, UPDATE, DELETE ON devices TO graftlog_writer;
