"""Sulfur dioxide: what a titration means for the wine, what to add, what must not be exceeded. Pure.

Begin with ``molecular``. In reading order:

allowed_range  the range that a number must be in
molecular      molecular SO2, and the free SO2 that a target needs, by two models
"""
