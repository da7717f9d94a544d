"""What ``leeside enter``, ``amend`` and ``strike`` ask and show.

In reading order:

entry_dialog         asking for what an entry still needs
doubt                what an entry makes a person doubt, and what it takes to write it
titrations_again     the titrations that used a bottle, and an offer to work them out again
refused_entry        a refusal of the journal, and what --with-later would strike, or struck
enter_several        ``leeside enter titration --several``
enter_calibration    ``leeside enter calibration``
calibration_buffers  its buffers of a pH probe
calibration_shown    what it shows before and after it writes
"""
