"""What `leeside bench push` and `leeside bench siphon` print alike."""

from __future__ import annotations

__all__ = ["print_transfer"]

from collections.abc import Sequence
from dataclasses import asdict

from alerts.command.benches.answer import print_answer
from alerts.gas.moving_wine import Transfer
from alerts.gas.tube_flow import Regime
from alerts.number_text import number_text

_KEYS = {
    "gas_l": "gas_l",
    "l_min": "flow_l_min",
    "minutes": "minutes",
    "regime": "regime",
    "high_l_min": "flow_high_l_min",
    "low_minutes": "minutes_low",
    "start_l_min": "flow_start_l_min",
    "end_l_min": "flow_end_l_min",
    "driving_kpa": "driving_kpa",
}


def print_transfer(
    volume_l: float, worked: Transfer, gas: str, warnings: Sequence[str], cautions: Sequence[str], as_json: bool
) -> None:
    """Print a transfer as text or JSON. gas: what the gas is for, in front of its litres."""
    numbers = asdict(worked)
    result = {key: numbers[name] for name, key in _KEYS.items()}
    minutes, flow, start, end = (
        number_text(number, 3) for number in (worked.minutes, worked.l_min, worked.start_l_min, worked.end_l_min)
    )
    lines = [f"{number_text(volume_l, 6)} L take {minutes} min, {flow} L/min on average: {worked.regime} flow"]
    if worked.start_l_min != worked.end_l_min:
        lines.append(f"from {start} L/min at the start to {end} at the end")
    lines.append(f"{gas}: {number_text(worked.gas_l, 3)} L at 15 °C and 101.325 kPa")
    remarks = list(warnings)
    if worked.regime is Regime.TRANSITION and worked.high_l_min > worked.l_min:
        remarks.append(
            "between laminar and turbulent flow nobody can say which it is: if it is laminar, it takes only "
            f"{number_text(worked.low_minutes, 3)} min"
        )
    print_answer("\n".join(lines), result, remarks, as_json, cautions=cautions)
