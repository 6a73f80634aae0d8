"""The library shelf: landmarks, measurements, ranges and references as data."""

from hipwright.catalog.loader import Catalog, load

__all__ = ["Catalog", "load"]
