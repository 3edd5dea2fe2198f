"""Electrical, thermal and radio computation: pure functions in SI units, each with its source."""
