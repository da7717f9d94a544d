"""Thousands of simulated kegs with their disturbances and leaks, moved through time together as arrays.

The physics is that of ``ingest.simulation.physics`` with more in it: several gases, wine that stirs or stands still,
leaks by several laws. It knows nothing of what judges it. Begin with ``world``. In reading order:

keg           the hidden truth of one keg: what it holds, what happens to it, what is measured
array_physics  formulas for many kegs at once
leak_laws     how gas leaves through a leak
still_wine    wine without motion, into which gas diffuses
air           the air of each keg's room, with doors, compressor and weather
world         all kegs moved through time
readings      what the probes show, as arrays, points and CSV
draw_kegs     kegs of a kind, drawn from a seed
"""
