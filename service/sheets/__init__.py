"""Records in and out: CSV sheets that people fill in, and the whole log as lines of JSON."""
