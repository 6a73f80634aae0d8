"""CT to labeled bones and closed surfaces."""
