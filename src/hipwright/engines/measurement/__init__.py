"""Constructions bound to the catalog, and their doubt."""
