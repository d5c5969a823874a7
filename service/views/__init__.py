"""What people ask: one module a view, its SQL beside it, one runner for all."""
