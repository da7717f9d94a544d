"""The web page, and the view of the cellar that it shares with the ``now`` command.

Reading order: ``standing`` (every place as it stands), ``shown`` (values and times as people read them),
``held`` and ``racking`` (what vessels hold, and rackings not finished), ``app`` (the page). Only ``app`` imports the
web framework.
"""
