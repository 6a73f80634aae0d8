"""Hips, films and volumes whose truth is known by construction; engines are unknown here."""
