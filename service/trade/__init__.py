"""What the nursery knows: events, legs, lots, judging, methods, check plans. Pure: no I/O, no clock."""
