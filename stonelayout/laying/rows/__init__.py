"""Stones in rows along curves: the patterns ``edge`` and ``spine``."""
