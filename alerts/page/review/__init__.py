"""What to know before a racking or a bottling.

In reading order:

review_routes          what to know before a racking or a bottling
review_request         what its address asks for
review_answers         what its data is, for the OpenAPI document
review_picture_routes  its pictures and its sheet
review_pictures        these drawn, one at a time
print_size             how large its letters can be on paper
"""
