"""The bench: what installs hipwright from a checkout and checks it (no part of the package)."""
