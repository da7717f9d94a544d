"""Sulfur dioxide: what a titration means for the wine, what to add, what must not be exceeded. Pure.

Begin with ``molecular``. In reading order:

allowed_range  the range that a number must be in
molecular      molecular SO2, and the free SO2 that a target needs, by two models
legal          legal limits of total SO2, from legal_rules.toml
targets        how much SO2 a wine should have, and what is too much for the nose
"""
