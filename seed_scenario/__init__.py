"""An invented nursery and one year of its work, to try the service on. Nobody in it exists."""
