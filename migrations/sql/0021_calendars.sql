-- Calendars that people subscribe to, and the days that they show.
-- Run as graftlog_owner. Plain SQL for PostgreSQL 15 and newer.

CREATE SEQUENCE calendar_versions;
CREATE TABLE calendars (
    owner text NOT NULL,
    code text NOT NULL,
    token_sha256 bytea NOT NULL UNIQUE,
    sites text[] NOT NULL CHECK (cardinality(sites) > 0),
    shows text[] NOT NULL CHECK (cardinality(shows) > 0),
    language text NOT NULL CHECK (language IN ('en', 'es')),
    version bigint NOT NULL DEFAULT nextval('calendar_versions'),
    made_at timestamptz NOT NULL,
    changed_at timestamptz NOT NULL,
    read_on date,
    PRIMARY KEY (owner, code)
);
COMMENT ON COLUMN calendars.owner IS 'Who made it: it shows what the live keys and the person of this name see, and nothing without one.';
COMMENT ON COLUMN calendars.token_sha256 IS 'Of what its address ends in; the address is told once and kept nowhere.';
COMMENT ON COLUMN calendars.sites IS 'Whose days it shows; * for all that its owner sees.';
COMMENT ON COLUMN calendars.version IS 'Its ETag; never used twice.';
COMMENT ON COLUMN calendars.read_on IS 'The newest day by UTC on which a calendar program asked for it.';
SELECT wall('calendars', 'owner = (SELECT asker())');
GRANT SELECT, INSERT, UPDATE, DELETE ON calendars TO graftlog_writer;
GRANT USAGE ON SEQUENCE calendar_versions TO graftlog_writer;
GRANT SELECT ON calendars TO graftlog_reader;

CREATE TABLE calendar_days (
    key text PRIMARY KEY,
    kind text NOT NULL CHECK (kind IN ('check', 'work_order', 'reservation', 'bag')),
    site text NOT NULL,
    subject text NOT NULL,
    place text,
    what text,
    cultivar text,
    rootstock text,
    count bigint NOT NULL,
    first_day date NOT NULL,
    last_day date NOT NULL CHECK (last_day >= first_day),
    sequence bigint NOT NULL DEFAULT 0,
    changed_at timestamptz NOT NULL,
    ended_at timestamptz
);
COMMENT ON TABLE calendar_days IS 'What calendars show, as it was found in the books and views last, and how often its days were changed: calendar programs go by that (RFC 5545, 3.8.7.4). What is gone stays as cancelled for a while. Can be emptied: it fills itself, but programs then see every entry as new.';
COMMENT ON COLUMN calendar_days.key IS 'The entry''s UID hangs on it: what it is about, and which occurrence of that.';
COMMENT ON COLUMN calendar_days.subject IS 'The lot, the place of a look, the order, the reservation or the bag.';
COMMENT ON COLUMN calendar_days.what IS 'The check''s name, the item that is reserved, the method that is ordered.';
COMMENT ON COLUMN calendar_days.last_day IS 'Of a check the last day before it is overdue.';
CREATE INDEX calendar_days_site ON calendar_days (site, first_day);
SELECT wall('calendar_days', 'site = ANY ((SELECT seen_sites())::text[])');
GRANT SELECT, INSERT, UPDATE, DELETE ON calendar_days TO graftlog_writer;
GRANT SELECT ON calendar_days TO graftlog_reader;
