"""Pure functions: domain values in, domain values out."""
