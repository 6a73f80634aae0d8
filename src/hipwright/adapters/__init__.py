"""All input and output: files, databases, documents, wire formats; no thinking here."""
