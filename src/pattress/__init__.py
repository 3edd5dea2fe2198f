"""Audit of the mains-powered Wi-Fi modules behind the wall plates of a house."""

__version__ = "0.1.0"
