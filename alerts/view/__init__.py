"""What page, command and messages show alike.

Each file after the first two shows one thing: lines for people and, where programs read it, an object for JSON.

status           the cellar at one moment
format           values, times and durations as people read them
alarm_lines      an open alarm
gas_alarm_name   what an alarm on gas is about, in a few words
muted_lines      a limit that a person has muted
record_lines     a step of the alarm record
alarm_figures    how the alarms of a time behaved
figure_lines     these figures beside the targets of the standards
limit_lines      a limit and where it stands
due_lines        work that is due
vessel_contents  what a vessel holds
reading_lines    the newest reading of a probe
so2_lines        the SO2 of the wine in a vessel
total_so2_lines  the total SO2 of the wine in a vessel
blanket_lines    the gas over the wine in a vessel, as it was judged
blanket_values   amounts of gas, pressures and hours as ranges
cylinder_lines   what a gas cylinder holds, and how long that lasts
vessel_line      a vessel in one line
supply_lines     whether the gas supply is open at a vessel
dose_lines       a dose for a vessel's wine
vessel_card      a vessel as of a time
room_air_lines   what escaping gas can do to the air of a room
choices          what there is to choose from where an entry asks for it
entry_form       the questions of an entry as a form
titration_row    one row of a day of titrations
racking_lines    a racking that was begun and not finished
journal_lines    an entry of the journal
judge_lines      a judge that fails
mirror_lines     how far the mirror is
absence_lines    when the owner is away, and who gets the messages
place_line       a place in the cellar view
card_words       the card of a place in words
day_trend        the last day of a probe, lowest and highest
own_state        how leeside's own parts are
cellar_json      the cellar and a vessel's card as objects for programs
ring_lines       test messages that nobody has confirmed
mail_lines       what became of mail that has not gone out
history          the history of a vessel or a lot
"""
