"""Reports: what was found, for people as text and for machines as JSON. Pure: values in, text out.

What belongs here: wording, order, layout, the published JSON documents. What does not: printing and exit status.
"""
