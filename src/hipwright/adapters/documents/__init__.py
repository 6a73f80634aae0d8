"""Prints document trees as HTML and PDF."""
