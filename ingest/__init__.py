"""Facts: from a probe or a person to something stored. Nothing here imports ``alerts``.

Begin with ``daemon``, which puts the parts of a reading's way together. In reading order:

reading         the shapes that sources, probes and store share
times           moments as text and as UTC milliseconds
errors          the errors of this package, one small tree
plain_text      text from people and the wire, fit for one line
validation_words  what pydantic finds wrong, in our words
json_text       JSON that goes out to other programs
first_traces    which unexpected errors were logged with their traceback
cellar          the cellar file
sources         where samples come from: brokers, serial lines, one-wire chips
probes          from a sample to a reading
journal         what people write down, and what follows from it
store           the SQLite file: readings, journal, alarms
writing         the daemon's loop: batch, commit, acknowledgement, upkeep
entering        from a person's answers to a written entry
entering_several  several titrations of one day, all of them or none
amending        from what a person says otherwise to an entry in the place of another one
calibrating     a calibration worked out and judged before it is written
ph_in_buffer    what a pH probe shows in a buffer, and whether it stands still yet
titrations_again  titrations whose bottle has another strength now
history         what was read and found of a probe, a place or a lot
mirror          the store once more in a server of the InfluxDB v2 write protocol
exchange        readings and entries from and for other programs
simulation      a cellar of physics, for the demo and the tests
retry_after     how long a web server asks not to be asked again
backoff         how long to wait before something is tried again
token_bucket    so many at once, and then one after each interval
machine_clock   the even clock of a boot, and whether the network sets the wall clock
unstored        readings handed to alerts while the store takes none
pulse           the mark in the store that a daemon works
judgement       a number that no probe shows, worked out aside
operator_event  what a person asks for about an alarm
watchdog        how often systemd wants to hear from a process
daemon_log      a daemon's log
process         a daemon as a process: signals, exit code
alerts_watch    whether the alerts daemon responds
daemon          sources, writing, store and mirror in one process
"""
