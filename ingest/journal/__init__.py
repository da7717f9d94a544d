"""The journal: what people write down, and what follows from it about where the wine is.

In reading order: ``body`` (what all bodies share); ``movements``, ``analyses``, ``treatments`` (what each kind says);
``bodies`` (kind to body); ``entry``; ``equipment`` (the vessels of a time); ``holding`` (what one entry does to what
vessels hold); ``contents`` (what each vessel holds at any time); ``balance`` (what cannot be written or struck).
``doubt``, ``titrant``, ``titration`` and ``titration_outcome`` are the arithmetic of a titration.
"""
