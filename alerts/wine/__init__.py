"""Sulfur dioxide: what a titration means for the wine, what to add, what must not be exceeded. Pure.

Begin with ``molecular``. In reading order:

allowed_range  the range that a number must be in
molecular      molecular SO2, and the free SO2 that a target needs, by two models
legal          legal limits of total SO2, from legal_rules.toml
targets        how much SO2 a wine should have, and what is too much for the nose
remarks        what to know about a molecular SO2, or the free SO2 that a target needs
dose           grams of metabisulfite and millilitres of a stock solution, and what can be measured out
dose_outlook   what a wine is expected to have after a dose
dose_plan      whether a dose is wise, and to what it is cut
adding         how a dose is added, and what to be careful of
"""
