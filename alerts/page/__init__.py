"""The web page. Begin with ``app``; what it shows comes from ``alerts.view``, and how it looks from ``templates``."""
