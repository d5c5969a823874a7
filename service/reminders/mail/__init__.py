"""Reminders by mail: who wants what when, what is written, and how it goes out."""
