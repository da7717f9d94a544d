"""The web page.

In reading order; ``templates`` holds its HTML:

app          the page, made from ``alerts.view``
connections  how many visitors there may be, and how long one may keep a connection
server_name  what its server calls itself
serving      the page's process
"""
