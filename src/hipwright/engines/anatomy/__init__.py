"""Frames of the hip: sides, baseline, clock."""
