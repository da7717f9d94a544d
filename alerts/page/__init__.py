"""The web page.

A view is one file of routes, its template and, if it needs them, its script and style sheet. Routes read their
arguments, ask ``alerts.view`` or ``alerts.review``, and fill a template; HTML is made on the server, and scripts only
add to it. In reading order:

app             the page put together
context         what every view is made with
ways            where each view is
errors          what is answered instead of what was asked for
compression     which answers are sent smaller

The cellar:

cellar_routes    the cellar at a glance
vessel_routes    the card of a vessel, a cylinder or a room
event_routes     the cellar view as it changes
board            the cellar view as it was made last, once for all who look
cellar_pieces    its pieces, as HTML
cellar_answers   what its data is, for the OpenAPI document
trend_drawing    a small picture of a probe's last day
ack_routes       acknowledging by a link from a message
calendar_routes  work that is due, as a calendar that a phone subscribes to

Entering:

entry_routes   the kinds, the form of each
form_controls  the controls of a form, and the answers in them
entry_post     what a browser sends of a form
entry_pages    the form, the look at what it gives
entry_steps    fill in, look, save
written_routes  what was written; titrations worked out again
calibration_form  the form of a probe's calibration
test_day_routes  titrations of several wines in one table
journal_routes  the journal, amending and striking
amendment      an entry's form as an amendment
journal_filter     which entries are asked for
entry_data_routes  entries for programs
entry_answers      what those take and give, for the OpenAPI document

Alarms:

alarm_routes   the alarms, and what is done about them
alarm_acts     what is asked for, written down for the next turn
alarm_api      the same for programs
record_routes  what happened to alarms
limit_routes   every limit, and where it stands
who            the name that a person gave last

History:

history_routes   the history of a vessel or a lot
history_request  what an address of the history asks for

Review:

review_routes    what to know before a racking or a bottling
review_request   what its address asks for
review_answers   what its data is, for the OpenAPI document
review_picture_routes  its pictures and its sheet
review_pictures  these drawn, one at a time
print_size       how large its letters can be on paper

Doors:

tokens          who may write
door            who may see, where there is a password
sessions        who is logged in
passwords       what may be a password, and whether one is right
attempts        how often one may be tried
login_routes    logging in and out
hosts           under which names the page answers
foreign_links   links of other sites, such as in a mail
headers         what every answer carries
request_bounds  how large and how slow a request may be
connections     how many visitors there may be, and how long one may keep a connection

The process:

server_name  what its server calls itself
credentials  the password's hash and the certificate, read
serving      the page's process

``templates/base.html`` is the sheet that every view is written on, ``static/leeside.css`` its looks, ``static`` also
holds the scripts. A new view: a function from ``PageContext`` to an ``APIRouter``, added to ``_VIEWS`` in ``app.py``.
What programs read lies under ``/api/`` and is described by ``/api/openapi.json``; routes that give HTML are left out of
that document. A route that writes depends on ``Tokens.check``. Where the page has a password every route is behind it,
but those that ``open_to_all`` marks.
"""
