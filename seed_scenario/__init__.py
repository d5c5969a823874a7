"""An invented nursery and its work, to try the service on. Nobody in it exists."""
