-- Who put right or discarded what the log had refused, what was sent before, and the newest shape
-- of stored events for views that read them in SQL.
-- Run as graftlog_owner. Plain SQL for PostgreSQL 15 and newer.

-- To put right ----------------------------------------------------------------

ALTER TABLE to_put_right
    ADD COLUMN sites text[] NOT NULL DEFAULT '{}',
    ADD COLUMN last_by text,
    ADD COLUMN resolved_by text,
    ADD COLUMN resolved_at timestamptz,
    ADD COLUMN discard_reason text;
UPDATE to_put_right
SET last_by = principal, resolved_at = CASE WHEN state <> 'open' THEN last_at END;
-- A site that the sender's key does not see may have been named by mistake: what was sent is not
-- shown there.
WITH senders AS (
    SELECT k.name, array_agg(DISTINCT seen.site) AS sites
    FROM keys k
    CROSS JOIN unnest(k.sites) AS seen (site)
    GROUP BY k.name
)
UPDATE to_put_right t
SET sites = CASE
        WHEN t.site IS NOT NULL AND s.sites && ARRAY['*', t.site] THEN ARRAY[t.site]
        ELSE array_remove(s.sites, '*')
    END
FROM senders s
WHERE s.name = t.principal;
-- Who is told of it are those who may put it right.
UPDATE alerts a
SET sites = t.sites, site = CASE WHEN t.site = ANY (t.sites) THEN t.site END
FROM to_put_right t
WHERE a.kind = 'to_put_right' AND a.closed_at IS NULL AND a.key = 'to_put_right/' || t.id;
COMMENT ON COLUMN to_put_right.site IS 'The site that was named, known or not; null where none could be read.';
COMMENT ON COLUMN to_put_right.sites IS 'Whose managers may put it right: the site named, if the sender''s key sees it, else the sites of that key (none: every-site keys alone).';
COMMENT ON COLUMN to_put_right.principal IS 'Who sent it first; last_by who tried last.';

CREATE TABLE put_right_earlier (
    item bigint NOT NULL,
    attempt bigint NOT NULL,
    sites text[] NOT NULL,
    principal text NOT NULL,
    at timestamptz NOT NULL,
    raw bytea NOT NULL,
    reasons jsonb NOT NULL,
    PRIMARY KEY (item, attempt)
);
COMMENT ON TABLE put_right_earlier IS 'What was sent before other content took its place in to_put_right: nothing is lost.';
GRANT SELECT, INSERT ON put_right_earlier TO graftlog_writer;
GRANT SELECT ON put_right_earlier TO graftlog_reader;

-- Evolution -------------------------------------------------------------------

-- Simple enough to be inlined: it costs nothing while there is one version of everything. A
-- revision that brings a new version replaces it; a test holds it to service.log.upcasting.
CREATE FUNCTION newest_data(type text, version smallint, data jsonb) RETURNS jsonb
LANGUAGE sql IMMUTABLE PARALLEL SAFE
RETURN data;
COMMENT ON FUNCTION newest_data IS 'The data of a stored event in the newest shape of its type: what views read in SQL.';
