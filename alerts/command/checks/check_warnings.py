"""What is allowed in a cellar file and may still not be meant."""

from __future__ import annotations

__all__ = ["check_warnings"]

from collections.abc import Iterator

from alerts.view.format import setpoint_text, side
from ingest.cellar import ANY_LOT, Cellar, end_of_signal, is_out_of_reach, value_in_unit


def check_warnings(cellar: Cellar) -> Iterator[str]:
    """List what may not be meant: limits that can never act, since they are beyond what a signal can say, or on wine
    that is in no journal; ids that may have been renamed; gas lines without a relief valve or with plastic vessels; a
    page whose password others can read on the network; channels and a digest that reach nobody.
    """
    probes = {probe.id: probe for probe in cellar.probe}
    for limit in cellar.limits:
        if limit.origin == "default" and is_out_of_reach(limit, cellar.probe):
            end = end_of_signal(probes[limit.probe], limit.kind)
            assert end is not None
            reach = f"{value_in_unit(limit.quantity, end, limit.unit_text):.4g} {limit.unit_text}"
            most = "more" if limit.kind == "high" else "less"
            yield (
                f"{limit.key} can never alarm: it is {side(limit)} {setpoint_text(limit)}, and the signal of "
                f"{limit.probe} says no {most} than {reach}. Use an instrument with a wider range, or write a limit "
                "within it."
            )
    yield from _gas_lines(cellar)
    yield from _page(cellar)
    yield from _messages(cellar)
    yield from _unknown_lots(cellar)
    if cellar.store_path.exists():
        # What only a cellar that has run needs.
        from alerts.command.checks.check_renamed import renamed_without_was

        yield from renamed_without_was(cellar)


def _gas_lines(cellar: Cellar) -> Iterator[str]:
    plastic = {vessel.id for vessel in cellar.vessel if vessel.material == "plastic"}
    for line in cellar.gas_line:
        if line.relief_kpa is None:
            yield (
                f"gas line {line.id} has no relief valve: a regulator that fails lets the pressure of the cylinder "
                f"into {', '.join(line.vessels)}. Fit one that opens at or below the smallest max_pressure of "
                "these, and write its relief."
            )
        for vessel in sorted(plastic.intersection(line.vessels)):
            yield (
                f"{vessel} on gas line {line.id} is of plastic: gas passes through it, and warmth and age weaken it. "
                "Stay well below its stamp, and never use one that is scratched or past its date."
            )


def _page(cellar: Cellar) -> Iterator[str]:
    page = cellar.page
    if page is None or page.opened_by is None or page.certificate is not None or page.trusted_proxy:
        return
    if not (page.url or "").startswith("https://"):
        yield (
            "the page's password crosses the network in the clear: anybody on it can read the password along with "
            "everything else. Give certificate and key, or put the page behind a proxy that speaks https."
        )


def _messages(cellar: Cellar) -> Iterator[str]:
    reached = {recipient.channel for recipient in cellar.recipients}
    for channel in cellar.channel:
        if channel.kind != "mqtt" and channel.id not in reached:
            yield f"channel {channel.id} reaches nobody: name it in channels of a [[person]], or leave it out."
    if cellar.digest is not None and not any(recipient.gets_digest for recipient in cellar.recipients):
        yield "nobody gets the digest: everybody has `after`, or `priorities` without low."


def _unknown_lots(cellar: Cellar) -> Iterator[str]:
    lots = {setting.lot for setting in cellar.limit if setting.lot is not None} - {ANY_LOT}
    if not lots:
        return
    # What only a file with limits on wine needs.
    from ingest.errors import StoreError
    from ingest.process import wall_ms
    from ingest.store import open_existing
    from ingest.store.journal.stored_ledger import ledger_at

    try:
        with open_existing(cellar.store_path) as store, store.read() as connection:
            known = frozenset(ledger_at(connection, wall_ms(), cellar).lots.names)
    except StoreError:
        known = frozenset()
    for lot in sorted(lots - known):
        yield f"no lot {lot} is in the journal, so its limits watch nothing yet. `leeside enter lot` writes one down."
