"""The database of a site: devices, sightings, readings, spans of settings and of findings, runs.

What belongs here: everything that is SQLite. What does not: judging what is kept.
"""
