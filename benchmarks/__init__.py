"""What the program promises in figures, each measured beside a reference in the same run.

What belongs here: measuring, and showing what was measured. What does not: tests. Nothing here passes or fails by time.
"""
