"""Pages for people, in a real browser over a real service and database."""
