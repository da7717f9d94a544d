"""The journal: what people write down, and what follows from it about where the wine is.

In reading order: ``body`` (what all bodies share); ``movements``, ``analyses``, ``treatments`` (what each kind says);
``bodies`` (kind to body); ``entry``; ``wanted`` (what an entry of each kind has to name); ``equipment`` (the vessels of
a time); ``lots``; ``wine`` (what streams make together), ``held``, ``racking`` and ``steps`` (what one entry does to
what vessels hold); ``contents`` (what each vessel holds at any time); ``balance`` (what cannot be written or struck);
``joining`` and ``joined_balance`` (many entries that come in at once); ``underway`` (rackings begun and not finished).
``doubt``, ``titrant``, ``titration`` and ``titration_outcome`` are the arithmetic of a titration. ``answers`` (text to
value), ``question``, ``forms_cellar``, ``forms_bench`` and ``forms`` (what is asked for each kind), ``background`` and
``bottles`` (what an entry is understood by), ``sulfite``, ``weighing``, ``worked_titration`` and ``drafting`` (answers
to draft), ``wording``, ``reminders`` and ``cautions`` (what is said of it).
"""
