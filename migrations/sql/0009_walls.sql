-- Row-level security: what a reader is shown, whatever it asks; and details of people and
-- customers that can be erased.
-- Run as graftlog_owner. Plain SQL for PostgreSQL 15 and newer.

-- Who looks ------------------------------------------------------------------
-- Two settings that last as long as a transaction. (After one they are empty text, not null.)

CREATE FUNCTION sees_every_site() RETURNS boolean LANGUAGE sql STABLE PARALLEL SAFE
AS $$ SELECT coalesce(current_setting('graftlog.sites', true) = '*', false) $$;

CREATE FUNCTION seen_sites() RETURNS text[] LANGUAGE sql STABLE PARALLEL SAFE
AS $$ SELECT string_to_array(NULLIF(current_setting('graftlog.sites', true), ''), ',') $$;

CREATE FUNCTION asker() RETURNS text LANGUAGE sql STABLE PARALLEL SAFE
AS $$ SELECT NULLIF(current_setting('graftlog.asker', true), '') $$;

-- How a wall is built --------------------------------------------------------

CREATE FUNCTION wall(walled regclass, seen text) RETURNS void LANGUAGE plpgsql AS $$
BEGIN
    EXECUTE format('ALTER TABLE %s ENABLE ROW LEVEL SECURITY', walled);
    EXECUTE format('ALTER TABLE %s FORCE ROW LEVEL SECURITY', walled);
    EXECUTE format('CREATE POLICY works_everywhere ON %s TO graftlog_writer '
                   'USING (true) WITH CHECK (true)', walled);
    EXECUTE format('CREATE POLICY sees_its_sites ON %s TO graftlog_owner, graftlog_reader '
                   'USING ((SELECT sees_every_site()) OR (%s))', walled, seen);
END $$;
COMMENT ON FUNCTION wall IS 'Each later table that the reader may read is walled by it: seen says which rows are of the sites of seen_sites(). Write those as (SELECT seen_sites()), so that it is asked once a query and not once a row.';
REVOKE EXECUTE ON FUNCTION wall FROM PUBLIC;

-- The walls ------------------------------------------------------------------
-- What has no site of its own is seen with what it belongs to, whose wall counts here too.

SELECT wall('events', 'sites && (SELECT seen_sites())');
SELECT wall('subjects', 'EXISTS (SELECT FROM events e WHERE e.position = subjects.position)');
-- Cultivars and the like are common to all who see anything.
SELECT wall('catalogue', $$(kind NOT IN ('site', 'place') AND (SELECT seen_sites()) IS NOT NULL)
    OR CASE kind WHEN 'site' THEN code ELSE site END = ANY ((SELECT seen_sites())::text[])$$);
SELECT wall('lots', $$site = ANY ((SELECT seen_sites())::text[])
    OR EXISTS (SELECT FROM balances b WHERE b.lot_id = lots.lot_id)$$);
SELECT wall('bags', 'EXISTS (SELECT FROM lots l WHERE l.lot_id = bags.lot_id)');
SELECT wall('anchors', 'EXISTS (SELECT FROM balances b
    WHERE b.lot_id = anchors.lot_id AND b.account_id = anchors.account_id)');
SELECT wall('consignments', $$from_site = ANY ((SELECT seen_sites())::text[])
    OR to_site = ANY ((SELECT seen_sites())::text[])$$);
SELECT wall('commitments', 'EXISTS (SELECT FROM reservations r
    WHERE r.code = commitments.reservation)');
-- What somebody sent and the log refused is theirs to see as well.
SELECT wall('to_put_right', $$sites && (SELECT seen_sites())
    OR principal = (SELECT asker()) OR last_by = (SELECT asker())$$);
SELECT wall('put_right_earlier', $$sites && (SELECT seen_sites())
    OR principal = (SELECT asker())$$);
SELECT wall('lineage', 'EXISTS (SELECT FROM lots l WHERE l.code = lineage.lot)');
SELECT wall('alerts', 'sites && (SELECT seen_sites())');
SELECT wall('alert_words', 'EXISTS (SELECT FROM alerts a WHERE a.id = alert_words.alert)');
-- Names things of any site, and is for those who run the service.
SELECT wall('view_faults', 'false');

-- All other tables that the reader may read: by their site or sites. One that says neither is shown
-- to those who see every site. Left open is what holds nothing of any site.
DO $$
DECLARE
    one record;
BEGIN
    FOR one IN
        SELECT c.oid::regclass AS name,
               bool_or(a.attname = 'site') AS by_site, bool_or(a.attname = 'sites') AS by_sites
        FROM pg_class c
        JOIN pg_attribute a ON a.attrelid = c.oid AND a.attnum > 0 AND NOT a.attisdropped
        WHERE c.relnamespace = 'public'::regnamespace AND c.relkind IN ('r', 'p')
          AND NOT c.relrowsecurity
          AND has_table_privilege('graftlog_reader', c.oid, 'SELECT')
          AND c.relname NOT IN ('log_head', 'voids', 'view_checkpoints', 'ticks',
                                'alembic_version')
        GROUP BY c.oid
        ORDER BY c.relname
    LOOP
        PERFORM wall(one.name, CASE
            WHEN one.by_sites THEN 'sites && (SELECT seen_sites())'
            WHEN one.by_site THEN 'site = ANY ((SELECT seen_sites())::text[])'
            ELSE 'false'
        END);
    END LOOP;
END $$;

-- Contacts -------------------------------------------------------------------

CREATE SEQUENCE contact_versions;
CREATE TABLE contacts (
    reference text PRIMARY KEY,
    kind text NOT NULL,
    sites text[] NOT NULL,
    name text NOT NULL,
    email text,
    phone text,
    address text,
    note text,
    version bigint NOT NULL DEFAULT nextval('contact_versions'),
    changed_at timestamptz NOT NULL,
    changed_by text NOT NULL
-- What was erased leaves the table's pages at the next round of vacuuming, not when enough has
-- gathered.
) WITH (autovacuum_vacuum_threshold = 0, autovacuum_vacuum_scale_factor = 0);
COMMENT ON TABLE contacts IS 'Who stands behind the references of persons and customers. Nothing else holds names and addresses, and nothing keeps a copy of them: what is deleted here is gone.';
COMMENT ON COLUMN contacts.sites IS 'Whose keys see it; * for every site''s.';
COMMENT ON COLUMN contacts.version IS 'Its ETag; never used twice.';
-- No setting, no array: then nothing is seen.
SELECT wall('contacts', $$sites && (SELECT CASE WHEN seen_sites() IS NOT NULL
    THEN seen_sites() || '*'::text END)$$);
GRANT SELECT, INSERT, UPDATE, DELETE ON contacts TO graftlog_writer;
GRANT USAGE ON SEQUENCE contact_versions TO graftlog_writer;
GRANT SELECT ON contacts TO graftlog_reader;
