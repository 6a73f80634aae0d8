"""Agreement between observers and readings, and change beyond its doubt."""
