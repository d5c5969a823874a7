"""From what a form sent to the events it tells of: pure, so a retry is byte for byte the same."""
