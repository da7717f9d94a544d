"""The web page.

Begin with ``app``, which makes the page from ``alerts.view`` and ``templates``. ``serving`` is its process;
``connections`` bounds how many visitors there are, and for how long one may keep a connection.
"""
