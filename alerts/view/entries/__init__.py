"""Entries of the journal: asked for, and read.

choices        what there is to choose from where an entry asks for it
entry_form     the questions of an entry as a form
titration_row  one row of a day of titrations
journal_lines  an entry of the journal
advised_forms  which form of the page serves what a text advises
"""
