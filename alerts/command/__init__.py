"""The ``leeside`` command: each command reads its options, calls the core, prints, and returns the exit code.

Begin with ``main``, which lists all commands; each is in the file named after it. Nothing is imported in this file,
since the supervisor must stay small. What the commands are made of:

main               which commands there are, and how each is loaded
options            options that several commands share
cellar_file        the cellar file of a call, or the usual one
plain_help         the help of a command
call_name          how the command can be called again
opened_cellar      the cellar file, and the store that it names
terminal           lines to and from a person
supervisor         what ``leeside run`` becomes
checks             what ``leeside check`` looks at
asking             requests about alarms, and what came of them
limit_trial        ``leeside limits --try``
hearing_lines      who would hear of an alarm, in sentences
away_warnings      what an owner should know before ``leeside away --helper`` begins
sheet_files        ``leeside review --pdf`` and ``--png``
history_estimate   ``leeside history --estimate``
history_compensated  the compensated pressure beside the readings of a pressure
now_cards          ``leeside now`` of a vessel, or as of a time
demo_night         the last day of the demo's cellar in fast motion
line_holder        whether the running leeside has a serial line open
sample_outcome     what became of a sample, for ``leeside listen``
discovery          proposed ``[[probe]]`` tables, for ``leeside listen``
entering           what ``leeside enter``, ``amend`` and ``strike`` ask and show
wrong_options      answers that will not do, with the option of each
exchange           ``leeside import`` and ``leeside export``
benches            ``leeside bench``, a file for each of its commands
gas_options        options about gas that several commands share, and errors that name them
so2_options        options about sulfur dioxide that several commands share
"""
