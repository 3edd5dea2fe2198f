"""Thin commands: options in, one call, a report out.

What belongs here: words of the command line, printing, exit status. What does not: any decision about devices.
Heavy modules are imported inside the command that needs them, so that help is instant.
"""
