-- What questions on both clocks share: the books, the lots and the catalogue at a past moment.
-- Run as graftlog_owner. Plain SQL for PostgreSQL 15 and newer.
-- The functions are single SELECTs that the planner takes into the question that uses them.

CREATE FUNCTION legs_after(last_day date, left_out bigint [], known bigint)
RETURNS TABLE (lot_id bigint, account_id bigint, delta bigint)
LANGUAGE sql STABLE PARALLEL SAFE AS $$
    SELECT g.lot_id, g.account_id, g.delta FROM legs g
    WHERE g.occurred_day > last_day
    UNION ALL
    SELECT g.lot_id, g.account_id, g.delta FROM legs g
    WHERE g.occurred_day = last_day AND g.position = ANY (left_out)
    UNION ALL
    SELECT g.lot_id, g.account_id, g.delta FROM legs g
    WHERE g.position > known
      AND (last_day IS NULL OR g.occurred_day < last_day
           OR (g.occurred_day = last_day AND g.position <> ALL (left_out)))
$$;
COMMENT ON FUNCTION legs_after IS 'What to take off the balances to have the books as they were: legs of days after last_day (null: of none) or of the positions left_out of that day, and legs recorded after position known (null: of none). Each leg once.';

CREATE FUNCTION lots_at(known bigint, changed jsonb)
RETURNS SETOF lots
LANGUAGE sql STABLE PARALLEL SAFE AS $$
    SELECT l.* FROM lots l
    WHERE (known IS NULL OR l.position <= known)
      AND (changed IS NULL OR l.lot_id NOT IN (
          SELECT (c.value ->> 'lot_id')::bigint FROM jsonb_array_elements(changed) AS c))
    UNION ALL
    SELECT c.* FROM jsonb_populate_recordset(NULL::lots, changed) AS c
$$;
COMMENT ON FUNCTION lots_at IS 'The lots as known at a position (null: now). changed: those that later events made something else, as they were; null for none.';

CREATE FUNCTION arrivals(
    of_lots bigint [], at_place text, last_day date, left_out bigint [], known bigint
)
RETURNS TABLE (day date)
LANGUAGE sql STABLE PARALLEL SAFE AS $$
    SELECT first.day
    FROM unnest(of_lots) AS lot (id)
    JOIN balances b ON b.lot_id = lot.id AND b.kind = 'trees' AND b.place = at_place
    CROSS JOIN LATERAL (
        SELECT g.occurred_day AS day
        FROM legs g
        WHERE g.lot_id = b.lot_id AND g.account_id = b.account_id AND g.delta > 0
          AND (known IS NULL OR g.position <= known)
          AND (last_day IS NULL OR g.occurred_day < last_day
               OR (g.occurred_day = last_day AND g.position <> ALL (left_out)))
          AND NOT EXISTS (
              SELECT FROM voids v
              WHERE (v.voided_position = g.position OR v.by_position = g.position)
                AND (known IS NULL OR v.by_position <= known))
        ORDER BY g.occurred_day
        LIMIT 1
    ) AS first
$$;
COMMENT ON FUNCTION arrivals IS 'Since when trees of the lots stood at a place: the first day of each of their accounts there.';

CREATE FUNCTION bags_at(known bigint, changed jsonb)
RETURNS SETOF bags
LANGUAGE sql STABLE PARALLEL SAFE AS $$
    SELECT b.* FROM bags b
    WHERE (known IS NULL OR b.position <= known)
      AND (changed IS NULL OR b.code NOT IN (
          SELECT c.value ->> 'code' FROM jsonb_array_elements(changed) AS c))
    UNION ALL
    SELECT c.* FROM jsonb_populate_recordset(NULL::bags, changed) AS c
$$;
COMMENT ON FUNCTION bags_at IS 'The bags as known at a position, as lots_at gives the lots.';

-- newest_data comes with a later revision.
SET LOCAL check_function_bodies = off;
CREATE FUNCTION catalogue_at(known bigint)
RETURNS TABLE (kind text, code text, body jsonb)
LANGUAGE sql STABLE PARALLEL SAFE AS $$
    SELECT c.kind, c.code, c.body FROM catalogue c
    WHERE known IS NULL OR c.position <= known
    UNION ALL
    SELECT c.kind, c.code, older.body
    FROM catalogue c
    CROSS JOIN LATERAL (
        SELECT newest_data(e.type, e.version, e.data) -> 'entry' AS body FROM events e
        WHERE e.type = 'catalogue.changed' AND e.position <= known
          AND newest_data(e.type, e.version, e.data) -> 'entry' ->> 'kind' = c.kind
          AND newest_data(e.type, e.version, e.data) -> 'entry' ->> 'code' = c.code
        ORDER BY e.position DESC
        LIMIT 1
    ) AS older
    WHERE c.position > known
$$;
CREATE FUNCTION pushes_of(lot text, last_day date, behind text [], known bigint)
RETURNS TABLE (site text, day date, at timestamptz)
LANGUAGE sql STABLE PARALLEL SAFE AS $$
    SELECT e.site, e.occurred_day, s.occurred_at
    FROM subjects s
    JOIN events e ON e.position = s.position
    WHERE s.kind = 'lot' AND s.code = lot
      -- no zone is two days off: what came later need not be met
      AND (last_day IS NULL OR s.occurred_at < (last_day + 2)::timestamptz)
      AND e.type = 'push.counted'
      AND (newest_data(e.type, e.version, e.data) ->> 'pushed')::bigint > 0
      AND (known IS NULL OR e.position <= known)
      AND (last_day IS NULL OR e.occurred_day < last_day
           OR (e.occurred_day = last_day AND e.site <> ALL (behind)))
      AND NOT EXISTS (
          SELECT FROM voids v
          WHERE v.voided_position = e.position AND (known IS NULL OR v.by_position <= known))
$$;
RESET check_function_bodies;
COMMENT ON FUNCTION pushes_of IS 'Counts that found pushed trees of a lot, by last_day (at the sites behind only before it), standing as far as was known.';
COMMENT ON FUNCTION catalogue_at IS 'The catalogue as known at a position (null: now). The table keeps the newest bodies; older ones are in the log.';

CREATE TABLE check_spells (
    lot text NOT NULL,
    place text NOT NULL,
    check_name text NOT NULL,
    from_day date NOT NULL,
    until_day date NOT NULL,
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
    PRIMARY KEY (lot, place, check_name, from_day)
);
COMMENT ON TABLE check_spells IS 'How the checks of each lot at a place stood at the end of each day, as is known now: like this from the end of from_day until before that of until_day. A view; checks_due is how they stand now.';
CREATE INDEX check_spells_until ON check_spells (until_day, from_day);
CREATE INDEX check_spells_from ON check_spells (from_day);

GRANT SELECT, INSERT, DELETE ON check_spells TO graftlog_writer;
GRANT SELECT ON check_spells TO graftlog_reader;

CREATE TABLE stock_sums (
    site text NOT NULL,
    kind text NOT NULL,
    cultivar text NOT NULL,
    rootstock text NOT NULL,
    size text NOT NULL,
    stage text NOT NULL,
    grade text NOT NULL,
    commodity text NOT NULL,
    quantity bigint NOT NULL,
    PRIMARY KEY (site, kind, cultivar, rootstock, size, stage, grade, commodity)
);
COMMENT ON TABLE stock_sums IS 'What is in the nursery, by all but place and lot: stock_by_day without the day, kept by the same view. With the legs since its checkpoint it is the stock now.';
UPDATE view_checkpoints SET outdated = true WHERE view = 'stock_by_day';

GRANT SELECT, INSERT, UPDATE, DELETE ON stock_sums TO graftlog_writer;
GRANT SELECT ON stock_sums TO graftlog_reader;
