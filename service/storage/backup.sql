-- name: server
-- Its major version, and whether our user passes over row-level security.
SELECT current_setting('server_version_num')::int / 10000 AS major, rolsuper OR rolbypassrls AS all_rows
FROM pg_roles WHERE rolname = session_user;

-- name: tables
-- How many tables are in the database.
SELECT count(*) FROM pg_tables WHERE schemaname = 'public';

-- name: position
SELECT position FROM log_head;
