"""Folders, archives and discs: finding files without trusting their names or sizes."""
