"""The cellar at a glance, the card of a place, and both as they change.

In reading order:

cellar_routes    the cellar at a glance
vessel_routes    the card of a vessel, a cylinder or a room
event_routes     the cellar view as it changes
board            the cellar view as it was made last, once for all who look
cellar_pieces    its pieces, as HTML
cellar_answers   what its data is, for the OpenAPI document
place_answers    the same of a place
trend_drawing    a small picture of a probe's last day
calendar_routes  work that is due, as a calendar that a phone subscribes to
"""
