"""Gas over wine: its amount, its pressure at another temperature, what purging and moving wine take. Pure.

Begin with ``blanket``. In reading order:

gases            the blanket gases: constants, and the standard condition of volumes
wine_density     density of wine by the international alcoholometric formula
over_wine        vapour pressure over wine, and how much gas wine dissolves
vessel_walls     expansion of walls, and which vessels may be put under pressure
compressibility  compressibility of the gases, near the air's pressure and in cylinders
blanket          the amount of gas over wine, and the no-leak pressure as a band
blanket_facts    what a judgement of the gas is made from, and what it says
wine_tables      what wine and vessel do with temperature, as tables
blanket_bins     readings as means over ever longer times the older they are
open_minute      readings gathered to minutes
blanket_columns  the readings as the columns of a linear regression
answering_wine   how wine under carbon dioxide answers a change of what lies over it
blanket_noise    the noise that the readings are taken to have
common_air       the weather by what several gauges show alike
sound_fit        explaining the readings without a leak
blanket_fit      explaining the readings with and without a leak
blanket_prior    what is known before an episode's first reading
gas_ahead        how the gas goes on: leaks, dissolving, temperature and weather
leak_evidence    what the fits say of a leak, and of gas that comes in
sudden_loss      steps and fast losses, minute by minute
stuck_sensor     a pressure that does not move where it would have to
air_floor        when the gauge will fall below the air floor
fitted_blanket   the fits of one moment with what they say
heard_air        what a vessel's gauge may show others of the weather, and what it hears
blanket_finding  from fits to a finding
blanket_remarks  why a judgement says no more than it does
read_air         the air's pressure by a barometer, and by what is usual
blanket_minutes  what comes in minute by minute: levels, steps, fast losses
fitted_episode   the readings of one episode, and the fits that explain them
blanket_watch    the gas over one wine, judged as its readings come in
blanket_warnings  what the numbers of a blanket give reason to warn of
purge            oxygen left in a headspace after purging, and the gas that it takes
tube_flow        flow of wine through a tube: laminar, turbulent, uncertain between
moving_wine      pushing wine from a keg, and siphoning it: time and gas
cylinder         what is in a gas cylinder
cylinder_amounts  what a cylinder held over time, with what the amounts are uncertain by
cylinder_use     how fast a cylinder empties, and how long it lasts
room             the air of a room that gas empties into
stock            how much gas stands ready in a cylinder or vessel, and what it can do to a room's air
cautions         what to be careful of with gas, whatever the numbers say
"""
