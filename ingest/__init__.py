"""Facts: from a probe or a person to something stored.

Rooms in reading order: ``cellar`` (the cellar file), ``sources`` (the wire), ``probes`` (sample to reading), ``store``,
``simulation`` (a cellar of physics); ``daemon`` puts them together. Nothing here imports ``alerts``.
"""
