"""Runs that are too long for the whole check; each says its result as a row for DEVELOPERS.md."""
