-- Quotas that hold over all processes.
SELECT 1;
