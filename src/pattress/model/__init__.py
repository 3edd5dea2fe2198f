"""The nouns of the program as frozen data, the setting vocabulary, and the errors.

Imports nothing of ours, performs no input or output, and reads no clock.
"""
