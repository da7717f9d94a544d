"""What a message about a chattering alarm advises: lines for the cellar file, or that neither would help."""

from __future__ import annotations

__all__ = ["advice_text"]

from alerts.view.format import duration_text, side
from alerts.watch.chatter_advice import ChatterAdvice
from ingest.cellar import EffectiveLimit, difference_in_unit


def advice_text(limit: EffectiveLimit, advice: ChatterAdvice, place: str) -> str:
    """Write what to do about a chattering alarm. place: what people call the place of the limit."""
    if limit.kind == "no data":
        return _on_silence(limit, advice)
    if limit.kind == "due":
        return "Look at what was written down in the journal, and when."
    look = f"First look at {place} itself."
    lines = []
    if advice.deadband is not None and advice.depth is not None:
        back = _difference(limit, advice.depth)
        lines.append(f'  deadband = "{_difference(limit, advice.deadband)}"  # it came back by up to {back}')
    if advice.on_delay_s is not None and advice.excursion_s is not None:
        stayed = duration_text(advice.excursion_s)
        lines.append(f'  on_delay = "{_delay(advice.on_delay_s)}"  # it stayed {side(limit)} for up to {stayed}')
    if lines:
        which = "this line" if len(lines) == 1 else "either line"
        text = (
            f"{look} If nothing is wrong there, the value lies close to the limit or {limit.probe} is restless.\n"
            f"On its readings of the last half hour {which} in the [[limit]] of the cellar file would have ended it:\n"
        )
        return text + "\n".join(lines) + _default_note(limit)
    if advice.depth is not None and advice.excursion_s is not None:
        return (
            f"{look} Neither a larger deadband nor a longer on_delay would be right here: the value came back by "
            f"{_difference(limit, advice.depth)} and stayed {side(limit)} the limit for up to "
            f"{duration_text(advice.excursion_s)} at a time.\nIt really comes and goes, so find out why."
        )
    return (
        f"{look} If nothing is wrong there, the value lies close to the limit or {limit.probe} is restless.\n"
        f"A larger deadband or a longer on_delay (now {duration_text(limit.on_delay_s)}) in the cellar file ends that."
    )


def _on_silence(limit: EffectiveLimit, advice: ChatterAdvice) -> str:
    part = limit.probe or limit.quantity
    text = f"Look at power, cable and network of {part}: a loose contact or a weak radio comes and goes like this."
    if not limit.probe:
        return text
    if advice.no_data_s is None:
        return f"{text}\nIf it may be silent for so long, give it a longer no_data in the cellar file."
    return (
        f"{text}\nIf it may be silent for so long, this line in a [[limit]] of the cellar file ends that:\n"
        f'  no_data = "{_delay(advice.no_data_s)}"'
    )


def _default_note(limit: EffectiveLimit) -> str:
    if limit.origin != "default":
        return ""
    return "\nIt is a default limit: write it as a [[limit]] of your own first; `leeside limits` shows its numbers."


def _difference(limit: EffectiveLimit, difference: float) -> str:
    return f"{difference_in_unit(limit.quantity, difference, limit.unit_text):.3g} {limit.unit_text}"


def _delay(seconds: float) -> str:
    """A delay as the cellar file takes it: one number with its unit."""
    for size, unit in ((3600, "h"), (60, "min")):
        if seconds >= size and seconds % size == 0:
            return f"{seconds / size:g} {unit}"
    return f"{seconds:g} s"
