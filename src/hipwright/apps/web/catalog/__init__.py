"""The Catalog screen: what is measured, how, and who says so."""
