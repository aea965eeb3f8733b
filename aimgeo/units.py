"""Units of length besides the millimetre."""

INCH_MM = 25.4
"""Exact since 1959, by agreement of the national standards bodies."""
