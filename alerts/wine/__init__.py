"""Sulfur dioxide: what a titration means for the wine, what to add, what must not be exceeded. Pure.

Begin with ``molecular``. In reading order:

molecular      molecular SO2, and the free SO2 that a target needs, by two models
legal          legal limits of total SO2, from legal_rules.toml
targets        how much SO2 a wine should have, and what is too much for the nose
remarks        what to know about a molecular SO2, or the free SO2 that a target needs
dose           grams of metabisulfite and millilitres of a stock solution, and what can be measured out
dose_outlook   what a wine is expected to have after a dose
dose_plan      whether a dose is wise, and to what it is cut
adding         how a dose is added, and what to be careful of
so2_history    what is known of a wine's free SO2: titrations, additions, rackings, blends
so2_steps      histories as tables of steps, so that one pass serves all vessels
so2_belief     what is believed of free SO2, carried from step to step
normal_mixture  mixtures of normal distributions
acidity        a pH with its uncertainty, and the free SO2 that a molecular limit means with it
so2_below      when a wine falls below its limit
so2_remarks    what the estimate has to say in words
so2_estimate   the estimate of free and molecular SO2 at a moment: begin here to use it
"""
