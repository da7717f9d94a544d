"""From the probes and the journal to what each gas cylinder holds and how long that lasts; the gas in a room.

In reading order:

details       what a judgement of a cylinder carries for cards and messages
written       what people measured of a cylinder
readings      pressures, temperatures and weighings of a cylinder
judge         the judge of cylinders
gas_in_rooms  the gas that stands in a room, in cylinders and vessels
"""
