"""Ordinary picture files: PNG, JPEG and TIFF, gray or color."""
