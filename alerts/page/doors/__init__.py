"""Who may see and who may write, and what no request may do.

In reading order:

tokens          who may write
door            who may see, where there is a password
sessions        who is logged in
passwords       what may be a password, and whether one is right
attempts        how often one may be tried
known_browsers  browsers that have logged in before, which have tries of their own
login_routes    logging in and out
hosts           under which names the page answers
foreign_links   links of other sites, such as in a mail
headers         what every answer carries
request_bounds  how large and how slow a request may be
"""
