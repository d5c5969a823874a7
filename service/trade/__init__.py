"""What the nursery knows: events, legs, lots, judging, methods, plans. Pure: no I/O, no clock."""
