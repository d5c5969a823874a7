-- name: took
-- How the lots of a grafter ($2) took that were grafted at a site ($1) from day $3 to $4. Of lots that
-- several people grafted the take is everybody's.
SELECT t.lot, t.cultivar, t.rootstock, t.method, t.grafted_on, g.grafted AS by_hand, g.alone,
       t.grafted, t.alive, t.failed, t.not_read, t.gone
FROM take_grafters g
JOIN take t ON t.lot = g.lot
WHERE t.site = $1 AND g.grafter = $2 AND t.grafted_on BETWEEN $3::date AND $4::date
ORDER BY t.grafted_on DESC, t.lot
LIMIT $5;
