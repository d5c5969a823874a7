"""The one truth: append, read, follow, and the writer's books."""
