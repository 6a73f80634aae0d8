"""What every screen shares in showing things: pages, words, refusals, static files."""
