"""The journal: what people write down, and what follows from it about where the wine is.

Begin with ``entry`` and ``kinds``. In reading order:

entry              an entry, its draft, its strike
kinds              one file for each kind of entry
former_kinds       what kinds were called before

What kinds are built on:

body               what all bodies share
question           what is asked for one part of an entry
bench_units        units of the bench
bench_words        words of the bench, and the formal ones
answers            how an answer becomes what a body keeps
must_weight        Oechsle, KMW and Brix
typed_amounts      amounts in the units that they were typed in
phrases            phrases that several kinds use
equipment          the vessels at a time
wine               what wine is made of, and mixing
vessel_state       what a vessel holds before and after wine is taken or added
contents           the same, as others read it
open_rackings      rackings that were begun and not finished
awaited_work       work that somebody may have to do
lots               what is said of each lot at a time
titrant            a titrant's strength, and its bottle
titrant_bottles    the bottles that there were at a time
entry_context      what an entry is understood by
titration          from millilitres to mg/L
result_warnings    what speaks against a result
titration_lines    one line of a day of titrations
titration_outcome  what a titration gave, with its warnings
worked_titration   a titration worked out from its answers
ph_buffers         pH buffers and their tables
ph_calibration     slope, offset and uncertainty of a pH probe
ph_drift           how a pH probe drifts

What is built on kinds:

drafting           from answers to a draft
unfinished_rackings  rackings of a journal that nothing finished, and the notes about them
requirements       what an entry has to name
ledger             what each vessel holds at any time
balance            what cannot be written or struck
lot_locations      where lots lie
wine_places        the same at a moment, for limits that go with wine
said_of_wine       what is said of the wine in each vessel
supply             whether the gas supply is open at a vessel
ph_record          a pH probe's calibrations, and how sure its pH is
reviewing          entries of a file, worked out and judged as if they were written here
merging            which entries of a file are new
"""
