"""The journal: what people write down, and what follows from it about where the wine is.

Begin with ``entry`` (an entry, its draft, its strike) and ``kinds`` (one file a kind of entry). What kinds stand on:
``body`` (what all bodies share), ``answers`` and ``question`` (how an answer is read, and what is asked), ``phrases``
(which words are made of), ``equipment`` (the vessels of a time), ``wine`` (what streams make together),
``vessel_state`` (what is in a vessel once wine was taken or came), ``contents`` (the same, as others read it),
``open_rackings`` and ``entry_context`` (what an entry is understood by). The arithmetic of a titration:
``result_warnings``, ``titrant``, ``titration``, ``titration_outcome``, ``worked_titration`` (from its answers).

What stands on kinds: ``drafting`` (answers to draft), ``requirements`` (what an entry has to name), ``ledger`` (what
each vessel holds at any time), ``balance`` (what cannot be written or struck), ``lot_locations`` (where lots lie),
``merging`` (which entries of a file are new).
"""
