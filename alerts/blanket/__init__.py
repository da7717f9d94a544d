"""From the store and the journal to the gas over the wine in each vessel, judged as readings come in.

In reading order:

details  what a judgement of gas carries for cards and messages
"""
