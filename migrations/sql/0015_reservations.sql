-- Reservations that are confirmed, expire, and carry an order.
SELECT 1;
