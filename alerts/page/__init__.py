"""The web page. Begin with ``app``, which makes it from ``alerts.view`` and ``templates``; ``serving`` is its process, and
``connections`` bounds what a visitor may take."""
