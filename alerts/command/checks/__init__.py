"""What ``leeside check`` looks at.

In reading order:

check_result    what ``leeside check`` found out about one thing
check_warnings  what is allowed in a cellar file and may still not be meant
check_renamed   ids that may have been renamed without saying so
check_live      ``leeside check --live``
check_page      ``leeside check --live`` of the page
check_channels  ``leeside check --live`` of channels, and apprise URLs
check_ring      ``leeside check --ring`` and ``--confirm``
check_store     ``leeside check --store``
check_clock     ``leeside check --clock``
"""
