"""Who is who: encrypted, with a key that lies outside the workspace."""
