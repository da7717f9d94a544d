"""The history of a vessel, a lot or another place.

In reading order:

history_routes   the history of a vessel or a lot
history_request  what an address of the history asks for
"""
