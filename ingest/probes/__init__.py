"""From a sample to a reading.

Reading order: ``reading`` (number, time, quality), ``scale`` (what turns the number into our unit), ``taking`` (which
probe takes a sample and what it makes of it).
"""
