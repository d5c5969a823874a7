-- name: webhooks
-- How many of the webhooks that are seen are at work, and how many stopped.
SELECT count(*) FILTER (WHERE state = 'active')::int AS active,
       count(*) FILTER (WHERE state = 'stopped')::int AS stopped
FROM webhooks;
