-- name: try_lock
SELECT pg_try_advisory_lock($1);

-- name: version_table
SELECT to_regclass('public.alembic_version');

-- name: current
SELECT version_num FROM public.alembic_version;

-- name: grant_version
-- Writer and reader look at the revision to say whether the service is ready.
SELECT array_agg(format('GRANT SELECT ON public.alembic_version TO %I', name))
FROM unnest($1::text[]) AS name;
