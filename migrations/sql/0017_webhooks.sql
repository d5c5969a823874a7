-- Who is told what, and how far.
SELECT 1;
