"""The gas over wine, in cylinders and in rooms.

gas_alarm_name  what an alarm on gas is about, in a few words
blanket_lines   the gas over the wine in a vessel, as it was judged
blanket_values  amounts of gas, pressures and hours as ranges
cylinder_lines  what a gas cylinder holds, and how long that lasts
supply_lines    whether the gas supply is open at a vessel
room_air_lines  what escaping gas can do to the air of a room
"""
