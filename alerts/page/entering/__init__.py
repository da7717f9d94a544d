"""Entries by form, the journal read, amended and struck, a test day, a calibration.

In reading order:

entry_routes       the kinds, the form of each
form_controls      the controls of a form, and the answers in them
entry_post         what a browser sends of a form
entry_pages        the form, the look at what it gives
later_entries      later entries that are struck with a new one
entry_steps        fill in, look, save
written_routes     what was written; titrations worked out again
calibration_answers  what is asked of a calibration, and what the answers make
calibration_form   the form of a probe's calibration
buffer_reading     what a pH probe shows in its buffer, taken with one press
test_day_routes    titrations of several wines in one table
journal_routes     the journal, amending and striking
amendment          an entry's form as an amendment
journal_filter     which entries are asked for
entry_data_routes  entries for programs
entry_answers      what those take and give, for the OpenAPI document
"""
