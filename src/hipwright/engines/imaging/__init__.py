"""Calibrated films, gray levels, slices in order, text in pixels."""
