"""An emulated house on loopback, for the demo and the tests.

What belongs here: invented modules that really answer on sockets, the faults that they can have, and the files of
their site. What does not: anything that an audit of a real house needs.
"""
