"""Fits and meetings on raw arrays, without a word of anatomy."""
