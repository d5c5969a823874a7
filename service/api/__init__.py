"""HTTP: one module a resource, and what they share: problems, keys, conditional requests."""
