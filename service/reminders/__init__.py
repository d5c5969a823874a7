"""Alerts: what is raised, what people said of it, and when it ends."""
