"""Judgement: a policy and a plan on one side, readings on the other, findings out. Pure.

What belongs here: comparisons, compiled rules, accounting of devices and points, waivers. What does not: files,
clocks, devices, wording of whole reports.
"""
