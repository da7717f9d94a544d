"""Discovery: proposed ``[[probe]]`` tables for samples that no probe takes.

``collecting`` waits until there are enough samples of an address; ``numbers`` finds the numbers in them and the way to
each, with ``line_numbers`` for text; ``quantity_guess`` says what a number may be; ``probe_table`` writes the table.
"""

from alerts.command.discovery.collecting import Discovery

__all__ = ["Discovery"]
