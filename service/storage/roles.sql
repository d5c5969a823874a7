-- name: server
-- Who we are and where: version number, encoding, rights of the user that connected.
SELECT current_setting('server_version_num')::int AS version,
       current_setting('server_encoding') AS encoding,
       r.rolname::text AS name, r.rolsuper AS superuser,
       r.rolsuper OR r.rolcreaterole AS may_create_roles
FROM pg_roles r WHERE r.rolname = current_user;

-- name: present
-- Which of the roles exist, and whether they have rights that would defeat the log's guards.
SELECT rolname::text AS name, rolsuper OR rolbypassrls OR rolcreaterole AS too_strong
FROM pg_roles WHERE rolname = ANY ($1::text[]);

-- name: create_role
-- The statement that makes a role; $2 says whether it may log in by itself.
SELECT format('CREATE ROLE %I NOSUPERUSER NOBYPASSRLS NOCREATEROLE NOCREATEDB %s',
              $1::text, CASE WHEN $2::boolean THEN 'LOGIN' ELSE 'NOLOGIN' END);

-- name: membership
-- Whether we may become each role: $2 is SET from version 16 on, MEMBER before. (From 16 on who
-- made a role is its member, but may not become it.)
SELECT name, pg_has_role(current_user, name, $2::text) AS member
FROM unnest($1::text[]) AS name;

-- name: grant_role
SELECT format('GRANT %I TO %I', $1::text, current_user);

-- name: database_exists
SELECT EXISTS (SELECT FROM pg_database WHERE datname = $1);

-- name: create_database
-- From template0, so that nothing a template holds comes along.
SELECT format('CREATE DATABASE %I OWNER %I ENCODING ''UTF8'' TEMPLATE template0',
              $1::text, $2::text);

-- name: owner_may_create
SELECT has_schema_privilege($1, 'public', 'CREATE');

-- name: grant_schema
SELECT format('GRANT USAGE, CREATE ON SCHEMA public TO %I WITH GRANT OPTION', $1::text);

-- name: become
SELECT format('SET ROLE %I', $1::text);

-- name: who
-- What the session runs as, and whether that role could pass over the log's guards.
SELECT current_user::text AS name, rolsuper OR rolbypassrls AS too_strong
FROM pg_roles WHERE rolname = current_user;
