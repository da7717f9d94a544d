"""While the owner is away: what will fall short until then, and what a helper can safely do about it.

In reading order:

shortfall      one thing that falls short, with when and who can do something about it
forecast       what falls short in a time, from what was judged and what is due; pure
safe_steps     what somebody who does not know the cellar may do about an alarm; pure
routing        who hears of an alarm meanwhile; pure
foresee        the facts of the forecast, from the cellar file and the store
shortfall_lines  it as lines for people and objects for programs
"""
