"""The web page.

A view is one file of routes, its template and, if it needs them, its script and style sheet. Routes read their
arguments, ask ``alerts.view`` or ``alerts.review``, and fill a template; HTML is made on the server, and scripts only
add to it. In reading order:

app          the page put together
context      what every view is made with
ways         where each view is
advice_links  links to forms where advice names the command
errors       what is answered instead of what was asked for
compression  which answers are sent smaller
cellar       the cellar at a glance, the card of a place, and both as they change
entering     entries by form, the journal read, amended and struck, a test day, a calibration
alarms       the list of alarms, what is done about them and what happened to them; every limit
history      the history of a vessel, a lot or another place
review       what to know before a racking or a bottling
doors        who may see and who may write, and what no request may do
connections  how many visitors there may be, and how long one may keep a connection
credentials  the password's hash and the certificate, read
server_name  what its server calls itself
serving      the page's process

``templates/base.html`` is the sheet that every view is written on, ``static/leeside.css`` its looks, ``static`` also
holds the scripts. A new view: a function from ``PageContext`` to an ``APIRouter``, added to ``_VIEWS`` in ``app.py``.
What programs read lies under ``/api/`` and is described by ``/api/openapi.json``; routes that give HTML are left out of
that document. A route that writes depends on ``Tokens.check``. Where the page has a password every route is behind it,
but those that ``open_to_all`` marks.
"""
