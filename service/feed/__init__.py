"""The log going out: following it by position, event by event, in the shapes that others read."""
