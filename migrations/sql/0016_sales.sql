-- Sales as shops ask for them.
SELECT 1;
