"""Discovery: proposed ``[[probe]]`` tables for samples that no probe takes.

In reading order:

collecting      waits until there are enough samples of an address
numbers         the numbers in them, and the way to each
line_numbers    the same for a line of text
quantity_guess  which quantity and unit a number may have
probe_table     the proposed table
"""

from alerts.command.discovery.collecting import Discovery

__all__ = ["Discovery"]
