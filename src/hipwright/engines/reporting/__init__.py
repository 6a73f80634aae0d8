"""From facts to a document tree; no markup here."""
