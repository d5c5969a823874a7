-- Reminders by mail: what people chose, when a site's morning is, what is on its way, and what was
-- told already. None of it is for the reader: no question of somebody else needs it.
-- Run as graftlog_owner. Plain SQL for PostgreSQL 15 and newer.

CREATE TABLE mail_choices (
    person text PRIMARY KEY,
    digest boolean NOT NULL,
    empty_digest boolean NOT NULL,
    at_once text[],
    left_out text[] NOT NULL,
    sites_left_out text[] NOT NULL,
    quiet_from time,
    quiet_until time,
    stopped_at timestamptz,
    changed_at timestamptz NOT NULL,
    CHECK ((quiet_from IS NULL) = (quiet_until IS NULL))
);
COMMENT ON TABLE mail_choices IS 'What people chose about mails; who is not in it has what is usual. What they do not want is kept, so that a new site or a new kind of alert is told of.';
COMMENT ON COLUMN mail_choices.at_once IS 'Kinds of alerts that are mailed at once; null: what is usual.';
COMMENT ON COLUMN mail_choices.stopped_at IS 'They want no mail at all since then.';
GRANT SELECT, INSERT, UPDATE, DELETE ON mail_choices TO graftlog_writer;

CREATE TABLE mail_sites (
    site text PRIMARY KEY,
    morning time NOT NULL,
    escalate_to text,
    escalate_after_hours bigint CHECK (escalate_after_hours BETWEEN 1 AND 720),
    changed_at timestamptz NOT NULL,
    changed_by text NOT NULL,
    CHECK ((escalate_to IS NULL) = (escalate_after_hours IS NULL))
);
COMMENT ON TABLE mail_sites IS 'When digests of a site are sent, by its own clock, and who is told of what nobody has seen to for so many hours.';
GRANT SELECT, INSERT, UPDATE, DELETE ON mail_sites TO graftlog_writer;

CREATE TABLE mails (
    id uuid PRIMARY KEY,
    what text NOT NULL CHECK (what IN ('digest', 'urgent', 'escalation')),
    person text NOT NULL,
    made_at timestamptz NOT NULL,
    thread uuid NOT NULL,
    subject text NOT NULL,
    plain text NOT NULL,
    html text NOT NULL,
    alerts uuid[] NOT NULL,
    state text NOT NULL DEFAULT 'waiting' CHECK (state IN ('waiting', 'sent', 'dropped', 'failed')),
    next_at timestamptz NOT NULL,
    until timestamptz NOT NULL,
    attempts bigint NOT NULL DEFAULT 0,
    because text,
    ended_at timestamptz
);
COMMENT ON TABLE mails IS 'What is on its way or was sent, without the name and address of the person, which are asked of the contacts when it goes out. Swept after some days.';
COMMENT ON COLUMN mails.id IS 'Made of what it tells whom, so its Message-ID is the same at every attempt.';
COMMENT ON COLUMN mails.thread IS 'The first mail of the person''s day, to which mail programs join the others.';
COMMENT ON COLUMN mails.alerts IS 'Of an urgent one: when none of them is open any more, it is dropped.';
COMMENT ON COLUMN mails.next_at IS 'Not before: the end of quiet hours, or of a pause after a failure.';
COMMENT ON COLUMN mails.until IS 'Later it would tell of what is long past: it is given up.';
CREATE INDEX mails_waiting ON mails (next_at) WHERE state = 'waiting';
CREATE INDEX mails_person ON mails (person, made_at);
CREATE INDEX mails_made ON mails (made_at);
GRANT SELECT, INSERT, UPDATE, DELETE ON mails TO graftlog_writer;

CREATE TABLE mail_told (
    person text NOT NULL,
    what text NOT NULL,
    about text NOT NULL,
    mail uuid,
    told_at timestamptz NOT NULL,
    PRIMARY KEY (person, what, about)
);
COMMENT ON TABLE mail_told IS 'What somebody was told, once: a digest by site and day, an alert by its id and when it was raised. Whoever inserts the row writes the mail; none where there was nothing to tell.';
CREATE INDEX mail_told_at ON mail_told (told_at);
GRANT SELECT, INSERT, UPDATE, DELETE ON mail_told TO graftlog_writer;

CREATE TABLE mail_trouble (
    person text PRIMARY KEY,
    since timestamptz NOT NULL,
    because text NOT NULL,
    contact_version bigint
);
COMMENT ON TABLE mail_trouble IS 'Whose address the mail server refuses: it is tried once a day (since: the last time), and when their contact changes; person empty: the server takes nothing. A contact_version of 0: a mail was given up, the next is tried all the same.';
GRANT SELECT, INSERT, UPDATE, DELETE ON mail_trouble TO graftlog_writer;
