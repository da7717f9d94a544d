"""Vessels and other places of the cellar.

vessel_line  a vessel in one line
vessel_card  a vessel as of a time
place_line   a place in the cellar view
card_words   the card of a place in words
day_trend    the last day of a probe, lowest and highest
cellar_json  the cellar and a vessel's card as objects for programs
"""
