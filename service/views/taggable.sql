-- name: places
-- Places by code ($1; null: those in use of site $2 and structure $3, null: all); at most $4.
SELECT p.code, p.body ->> 'place_kind' AS place_kind, p.body ->> 'structure' AS structure,
       p.site, s.body ->> 'name' AS site_name, coalesce(s.body ->> 'table_word', 'table') AS table_word
FROM catalogue p JOIN catalogue s ON s.kind = 'site' AND s.code = p.site
WHERE p.kind = 'place'
  AND CASE WHEN $1::text[] IS NULL THEN NOT coalesce((p.body ->> 'retired')::boolean, false)
      ELSE p.code = ANY ($1) END
  AND ($2::text IS NULL OR p.site = $2)
  AND ($3::text IS NULL OR p.body ->> 'structure' = $3)
ORDER BY p.site, p.body ->> 'structure', p.code LIMIT $4;

-- name: lots
-- Lots by code ($1; null: of which something stands at site $2 and places $3, null: any); at most $4.
SELECT l.code, l.kind, c.body ->> 'species' AS species, c.body ->> 'epithet' AS epithet,
       c.body ->> 'clone' AS clone, coalesce(r.body ->> 'name', l.rootstock) AS rootstock,
       l.method, l.day, l.attempt, substring(l.source FROM '^source_tree:(.*)$') AS source,
       c.body ->> 'licence_holder' IS NOT NULL AS protected
FROM lots l
LEFT JOIN catalogue c ON c.kind = 'cultivar' AND c.code = l.cultivar
LEFT JOIN catalogue r ON r.kind = 'rootstock' AND r.code = l.rootstock
WHERE NOT l.voided
  AND ($1::text[] IS NULL OR l.code = ANY ($1))
  AND ($1 IS NOT NULL AND $2::text IS NULL AND $3::text[] IS NULL OR l.lot_id IN (
      SELECT b.lot_id FROM balances b
      WHERE b.kind IN ('bag', 'liners', 'trees') AND b.balance > 0
        AND ($2 IS NULL OR b.site = $2) AND ($3 IS NULL OR b.place = ANY ($3))))
ORDER BY l.code LIMIT $4;

-- name: bags
-- Bags by code ($1; null: of which something is left at site $2 and places $3, null: any), each with
-- what its label says when it is filled; at most $4.
SELECT g.code, l.code AS lot, c.body ->> 'epithet' AS epithet, c.body ->> 'clone' AS clone,
       coalesce(h.cut_on, l.day) AS cut_on, g.buds, g.sticks, g.basis,
       substring(l.source FROM '^source_tree:(.*)$') AS source, h.use_by,
       c.body ->> 'licence_holder' IS NOT NULL AS protected
FROM bags g
JOIN lots l ON l.lot_id = g.lot_id
LEFT JOIN catalogue c ON c.kind = 'cultivar' AND c.code = l.cultivar
LEFT JOIN LATERAL (
    SELECT o.cut_on, o.use_by FROM budwood_on_hand o WHERE o.bag = g.code LIMIT 1
) h ON true
WHERE NOT g.voided
  AND ($1::text[] IS NULL OR g.code = ANY ($1))
  AND ($1 IS NOT NULL AND $2::text IS NULL AND $3::text[] IS NULL OR g.code IN (
      SELECT o.bag FROM budwood_on_hand o
      WHERE ($2 IS NULL OR o.site = $2) AND ($3 IS NULL OR o.place = ANY ($3))))
ORDER BY g.code LIMIT $4;
