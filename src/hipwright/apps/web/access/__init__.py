"""Who may ask: hosts, origins, start links, sessions, the token against forged requests."""
