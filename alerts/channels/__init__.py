"""The channels that messages go out by, beside mail, and the threads that work on them.

This file imports nothing, since a child process begins here. In reading order:

alarms_of        what the alarm record says of the alarms that a message is about
webhook_body     the JSON body of a webhook, and its signature
webhook          a message posted to somebody's own program
apprise_child    a process that hands one message to the library apprise
apprise_channel  a message to any service that apprise knows
lamp_state       the worst of the alarms of each priority
lamp             this state kept at the broker, for a lamp or a siren
open_channel     from the cellar file to a channel
sending          a thread for each channel: the outbox, and what goes past the store
"""
