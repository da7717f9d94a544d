"""Sulfur dioxide: what a wine holds, and doses.

so2_lines        the SO2 of the wine in a vessel
total_so2_lines  the total SO2 of the wine in a vessel
dose_lines       a dose for a vessel's wine
"""
