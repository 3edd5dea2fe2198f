"""The audit: discovery, identity, reading, policy and store joined into one run.

What belongs here: the order of things and their deadlines. What does not: any one of them, and how a result is shown.
"""
