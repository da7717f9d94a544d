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
check_result       what ``leeside check`` found out about one thing
check_warnings     what is allowed in a cellar file and may still not be meant
check_renamed      ids that may have been renamed without saying so
check_live         ``leeside check --live``
check_page         ``leeside check --live`` of the page
check_channels     ``leeside check --live`` of channels, and apprise URLs
check_ring         ``leeside check --ring`` and ``--confirm``
check_store        ``leeside check --store``
check_clock        ``leeside check --clock``
asking             requests about alarms, and what came of them
limit_trial        ``leeside limits --try``
sheet_files        ``leeside review --pdf`` and ``--png``
history_estimate   ``leeside history --estimate``
history_compensated  the compensated pressure beside the readings of a pressure
now_cards          ``leeside now`` of a vessel, or as of a time
demo_night         the last day of the demo's cellar in fast motion
line_holder        whether the running leeside has a serial line open
sample_outcome     what became of a sample, for ``leeside listen``
discovery          proposed ``[[probe]]`` tables, for ``leeside listen``
entry_dialog       asking for what an entry still needs
doubt              what an entry makes a person doubt, and what it takes to write it
titrations_again   the titrations that used a bottle, and an offer to work them out again
wrong_options      answers that will not do, with the option of each
refused_entry      a refusal of the journal, and what --with-later would strike, or struck
enter_several      ``leeside enter titration --several``
enter_calibration  ``leeside enter calibration``
calibration_buffers  its buffers of a pH probe
steady_reading     what a pH probe shows once it stands still
calibration_shown  what it shows before and after it writes
table_text         a table of text, opened and read row by row
import_readings    ``leeside import`` of readings
import_targets     which series the columns of an imported table belong to
import_entries     ``leeside import --entries``
import_results     ``leeside import --results``
export_entries     ``leeside export --entries``
bench_answer       how ``leeside bench`` reads numbers and prints its answer
bench_signal       ``leeside bench signal``
bench_pt100        ``leeside bench pt100``
bench_pressure     ``leeside bench pressure``
bench_titration    ``leeside bench titration``
bench_molecular    ``leeside bench molecular`` and ``leeside bench free-needed``
bench_dose         ``leeside bench dose``
bench_calibrate_ph  ``leeside bench calibrate-ph``
gas_options        options about gas that several commands share, and errors that name them
bench_blanket      ``leeside bench blanket``
bench_leak         ``leeside bench leak``
blanket_table      its table of readings
bench_purge        ``leeside bench purge``
moving_answer      what ``leeside bench push`` and ``leeside bench siphon`` print alike
bench_push         ``leeside bench push``
bench_siphon       ``leeside bench siphon``
bench_cylinder     ``leeside bench cylinder``
bench_room         ``leeside bench room``
so2_options        options about sulfur dioxide that several commands share
"""
