"""Thin modules over what connects us to the network, shared by discovery and reading.

What belongs here: the MQTT link, the decoder of hostile input, the list of addresses that we may connect to.
"""
