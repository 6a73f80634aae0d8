"""The workspace's memory: rows in SQLite or PostgreSQL, images as files."""
