"""Reading: a profile and a way to the device on one side, a `Snapshot` or `Unreadable` on the other.

What belongs here: asking gently, credentials, finding settings in documents, proving that the right device answered.
What does not: judging what was read.
"""
