"""A shop of its own played day by day: its record, its events, its floor and its judge."""
