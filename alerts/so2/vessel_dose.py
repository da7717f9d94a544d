"""The dose for a vessel's wine: from what is known of it and a target to what to measure out, or why not. Pure."""

from __future__ import annotations

__all__ = ["STALE_MS", "DoseTarget", "DoseWish", "StockSolution", "VesselDose", "vessel_dose"]

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Final, Literal, NamedTuple

from alerts.allowed_range import AllowedRange
from alerts.errors import DoseRefused, OutOfRange
from alerts.so2.vessel_so2 import VesselSo2
from alerts.so2.vessel_total import VesselTotal
from alerts.wine.dose import YIELD_RANGE, Dose, MeasuredOut, Product, dose_between, measured_out, yield_with
from alerts.wine.dose_outlook import U_YIELD, BeforeDose, DoseOutlook, dose_outlook
from alerts.wine.dose_plan import DosePlan, plan_dose
from alerts.wine.legal import LegalVerdict, legal_verdict
from alerts.wine.molecular import FREE_SO2_RANGE, PH_RANGE, USUAL_U_PH, free_needed
from alerts.wine.remarks import coarse_remarks, ph_remarks, trade_remarks
from alerts.wine.so2_history import So2Added
from alerts.wine.targets import LACTIC_HINDERED_FREE_MG_L, style_target
from ingest.journal.kinds.addition import SO2_PER_SALT
from ingest.journal.titration import Style

_HOUR_MS: Final = 3_600_000
_DAY_MS: Final = 24 * _HOUR_MS
# A titration that is older says little of what there is now; most cellars titrate monthly (docs/alarms.md).
STALE_MS: Final = 31 * _DAY_MS
# A stock solution in a full, closed bottle keeps for so long (common practice, no source).
_STOCK_KEEPS_MS: Final = 31 * _DAY_MS
# A target on free SO2 stands above the owner's low limit by this share, so that it lasts (this project's choice).
_ABOVE_LOW_FREE: Final = 1.3
# A mass fraction of SO2 that is further from that of the fresh salt is worth a word.
_SAME_FRACTION: Final = 0.005
# Remarks about the estimate that a dose says in its own words, or that do not matter to it.
_SAID_OTHERWISE: Final = ("the last addition is younger", "the wine's temperature is not known", "malolactic")
_ON_PH: Final = ("no pH of this wine", "the newest pH")
_TOTAL_RANGE: Final = AllowedRange("total SO2", 0.0, 1000.0, "mg/L", "totals go")


class StockSolution(NamedTuple):
    """A stock solution: salt [g made up to 100 mL], and when it was used last [UTC ms], None where it is just said."""

    g_per_100_ml: float
    used_ms: int | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class DoseWish:
    """What is wished.

    to_molecular_mg_l, to_free_mg_l: one of them, or none for the style's target; volume_l, ph, yield_share: instead of
    what the journal says; salt, so2_fraction: what is added; balance_g, pipette_ml: the steps in which it can be
    measured out; despite_malolactic, despite_stale_titration: the owner's word.
    """

    to_molecular_mg_l: float | None = None
    to_free_mg_l: float | None = None
    volume_l: float | None = None
    ph: float | None = None
    yield_share: float | None = None
    so2_fraction: float
    salt: str = "potassium"
    stock: StockSolution | None = None
    balance_g: float = 0.01
    pipette_ml: float = 0.1
    despite_malolactic: bool = False
    despite_stale_titration: bool = False


class DoseTarget(NamedTuple):
    """The free SO2 wanted [mg/L], the molecular SO2 where that is what is wanted [mg/L], and where it is from."""

    free_mg_l: float
    molecular_mg_l: float | None
    words: str


@dataclass(frozen=True, slots=True, kw_only=True)
class VesselDose:
    """The dose for a vessel's wine.

    before: what the wine has; plan: None where nothing is to be added; measured: the advised dose as it can be weighed
    and, with a stock solution, pipetted; outlook: what is expected of what is measured out; worst_free_mg_l: if the
    wine has as much as the upper end of the estimate, and all stays free; legal: the expected total against the law.
    """

    so2: VesselSo2
    total: VesselTotal | None
    volume_l: float
    target: DoseTarget
    before: BeforeDose
    plan: DosePlan | None
    measured: tuple[MeasuredOut, ...]
    outlook: DoseOutlook | None
    worst_free_mg_l: float
    worst_molecular_mg_l: float | None
    legal: LegalVerdict | None
    salt: str
    stock: StockSolution | None
    remarks: tuple[str, ...]

    @property
    def nothing_to_add(self) -> bool:
        """Whether the target is reached already, or what is advised is less than can be measured out."""
        return not self.measured or self.measured[-1].amount == 0.0


def vessel_dose(so2: VesselSo2, total: VesselTotal | None, capacity_l: float | None, wish: DoseWish) -> VesselDose:
    """Work out the dose for a vessel's wine; capacity_l: the vessel's brimful volume, None if not known.

    Raises DoseRefused where it would be a guess or do harm, and OutOfRange for what is wished.
    """
    volume_l = _volume_l(so2, capacity_l, wish)
    _refuse_malolactic(so2, total, wish)
    _refuse_stale(so2, wish)
    style = None if so2.contents.style is None else Style(so2.contents.style)
    before = _before(so2, total, wish)
    target = _target(so2, before, style, wish)
    product = Product(wish.so2_fraction, None if wish.stock is None else wish.stock.g_per_100_ml)
    legal_limit = None if total is None else total.legal
    remarks = [*_asked_words(so2, total, wish)]
    plan = outlook = legal = None
    measured: tuple[MeasuredOut, ...] = ()
    raised = 0.0
    if target.free_mg_l > before.free_mg_l:
        asked = dose_between(volume_l, before.free_mg_l, target.free_mg_l, before.yield_share, product)
        # The worst case begins at the upper end of the estimate, since the wine may have as much.
        cautious = _at_most(so2, before)
        plan = plan_dose(cautious, asked, target.free_mg_l, style=style, legal=legal_limit, is_cut=True)
        measured = _measured(plan, wish)
        raised = max(0.0, plan.advised.raise_total_mg_l + measured[-1].off_mg_l)
        outlook = dose_outlook(before, Dose(volume_l, raised, product))
        if legal_limit is not None and outlook.total is not None:
            legal = legal_verdict(
                min(outlook.total.expected_mg_l, 1000.0), min(before.u_total_mg_l, 1000.0), legal_limit
            )
        remarks += [*plan.remarks, *(_little(plan, measured) or coarse_remarks(measured)), *_legal_words(legal)]
        remarks += trade_remarks(so2.pk) if wish.to_molecular_mg_l is not None else ()
    worst_free = max(so2.estimate.free_high_80_mg_l, before.free_mg_l) + raised
    fraction = None if before.ph is None else so2.pk.fraction(before.ph)
    return VesselDose(
        so2=so2,
        total=total,
        volume_l=volume_l,
        target=target,
        before=before,
        plan=plan,
        measured=measured,
        outlook=outlook,
        worst_free_mg_l=worst_free,
        worst_molecular_mg_l=None if fraction is None else fraction * worst_free,
        legal=legal,
        salt=wish.salt,
        stock=wish.stock,
        remarks=tuple(dict.fromkeys([*remarks, *_rest(so2, total, before)])),
    )


# ---- what speaks against it -----------------------------------------------------------------------------------------


def _volume_l(so2: VesselSo2, capacity_l: float | None, wish: DoseWish) -> float:
    vessel, known_l = so2.vessel, so2.contents.volume_l
    volume_l = known_l if wish.volume_l is None else wish.volume_l
    if volume_l is None:
        raise DoseRefused(
            f"how much wine {vessel} holds is not known, so no dose can be worked out: weigh or dip it, and write it "
            f"down (leeside enter measurement FILE --vessel {vessel} --quantity volume --value '18 L'), or give "
            "--volume-l"
        )
    if capacity_l is not None and volume_l > capacity_l:
        raise OutOfRange(
            "volume", f"{volume_l:g} L are more than {vessel} holds brimful, {capacity_l:g} L: look at the volume"
        )
    return volume_l


def _refuse_malolactic(so2: VesselSo2, total: VesselTotal | None, wish: DoseWish) -> None:
    said = None if total is None else total.said
    if said is not None and said.awaits_malolactic and not wish.despite_malolactic:
        raise DoseRefused(
            f"malolactic fermentation of lot {said.lot} is {said.malolactic}, and {LACTIC_HINDERED_FREE_MG_L:g} mg/L "
            "of SO2, free or bound, hinder its bacteria: no dose is worked out. If it is over, enter the lot as "
            "complete (leeside enter lot); if you mean to stop it, say --despite-malolactic"
        )


def _refuse_stale(so2: VesselSo2, wish: DoseWish) -> None:
    titration = so2.last_titration
    vessel = so2.vessel
    if titration is None:
        raise DoseRefused(
            f"nobody has titrated free SO2 of the wine in {vessel}, so a dose would be a guess: titrate it and write "
            f"it down (leeside enter titration FILE --vessel {vessel} --quantity free ...). For the arithmetic alone "
            "there is leeside bench dose"
        )
    age_ms = so2.at_ms - titration.at_ms
    if age_ms > STALE_MS and not wish.despite_stale_titration:
        raise DoseRefused(
            f"the last titration of {vessel} is {age_ms // _DAY_MS} days old, so a dose would rest on a guess: titrate "
            "again before you dose, or say --despite-stale-titration"
        )


# ---- what the wine has, and should have -----------------------------------------------------------------------------


def _before(so2: VesselSo2, total: VesselTotal | None, wish: DoseWish) -> BeforeDose:
    found, learned = so2.estimate, so2.estimate.learned
    ph, u_ph = None, 0.0
    if wish.ph is not None:
        ph, u_ph = PH_RANGE.checked(wish.ph), USUAL_U_PH
    elif so2.acidity is not None:
        ph, u_ph = so2.acidity.ph, so2.acidity.u_ph
    known = None if total is None else total.total
    free_mg_l = FREE_SO2_RANGE.nearest(found.free_mg_l)
    total_mg_l = None if known is None else _TOTAL_RANGE.nearest(known.mg_l)
    u_total_mg_l = 0.0 if total is None else total.u_mg_l
    if total_mg_l is not None and total_mg_l < free_mg_l:
        # The estimate is no exact number: as far as the two are uncertain they may be equal.
        if free_mg_l - total_mg_l > 2.0 * (found.u_free_mg_l**2 + u_total_mg_l**2) ** 0.5:
            raise DoseRefused(
                f"{free_mg_l:.0f} mg/L free SO2 is more than the {total_mg_l:.0f} mg/L total of {so2.vessel}, and free "
                "is a part of the total: one of the titrations is wrong. Repeat both before you dose"
            )
        total_mg_l = free_mg_l
    return BeforeDose(
        free_mg_l=free_mg_l,
        u_free_mg_l=found.u_free_mg_l,
        total_mg_l=total_mg_l,
        u_total_mg_l=u_total_mg_l,
        ph=ph,
        u_ph=u_ph,
        pk=so2.pk,
        yield_share=YIELD_RANGE.nearest(yield_with(free_mg_l, learned.yielded))
        if wish.yield_share is None
        else wish.yield_share,
        u_yield=learned.u_yielded if wish.yield_share is None else U_YIELD,
    )


def _at_most(so2: VesselSo2, before: BeforeDose) -> BeforeDose:
    free_mg_l = max(before.free_mg_l, FREE_SO2_RANGE.nearest(so2.estimate.free_high_80_mg_l))
    total_mg_l = None if before.total_mg_l is None else max(before.total_mg_l, free_mg_l)
    return replace(before, free_mg_l=free_mg_l, total_mg_l=total_mg_l)


def _target(so2: VesselSo2, before: BeforeDose, style: Style | None, wish: DoseWish) -> DoseTarget:
    if wish.to_free_mg_l is not None:
        return DoseTarget(FREE_SO2_RANGE.checked(wish.to_free_mg_l), None, f"{wish.to_free_mg_l:g} mg/L free SO2")
    if wish.to_molecular_mg_l is not None:
        return _molecular_target(so2, before, wish.to_molecular_mg_l, "")
    by_quantity = {limit.quantity: limit for limit in so2.limits}
    own_free = by_quantity.get("free_so2")
    if own_free is not None and own_free.low_mg_l > 0.0:
        free_mg_l = FREE_SO2_RANGE.checked(_ABOVE_LOW_FREE * own_free.low_mg_l)
        words = f"{free_mg_l:.0f} mg/L free SO2, a third above your low limit of {own_free.low_mg_l:g}"
        return DoseTarget(free_mg_l, None, words)
    usual = style_target(style)
    low = by_quantity["molecular_so2"].low_mg_l if "molecular_so2" in by_quantity else usual.molecular_low_mg_l
    half = (usual.molecular_high_mg_l - usual.molecular_low_mg_l) / 2.0
    of_style = "wine of unknown style" if style is None else f"{style} wine"
    if low == usual.molecular_low_mg_l:
        why = f", by default for {of_style}: the middle of {low:g} to {usual.molecular_high_mg_l:g}"
    else:
        why = f", by default {half:g} above your low limit of {low:g}"
    return _molecular_target(so2, before, low + half, why)


def _molecular_target(so2: VesselSo2, before: BeforeDose, molecular_mg_l: float, why: str) -> DoseTarget:
    if before.ph is None:
        about_ph = next((remark for remark in so2.remarks if "pH" in remark), "no pH of this wine is known")
        raise DoseRefused(
            f"a molecular target needs the wine's pH, and {about_ph}. Write it down (leeside enter measurement FILE "
            f"--vessel {so2.vessel} --quantity pH --value 3.4), or give --ph or --to-free"
        )
    needed = free_needed(molecular_mg_l, before.ph, so2.pk)
    words = f"{molecular_mg_l:.3g} mg/L molecular SO2 ({so2.pk.model}, {so2.pk.name}){why}"
    return DoseTarget(needed.mg_l, molecular_mg_l, words)


# ---- what is measured out, and what to know -------------------------------------------------------------------------


def _measured(plan: DosePlan, wish: DoseWish) -> tuple[MeasuredOut, ...]:
    weighed = _rounded(plan, "g", wish.balance_g)
    return (weighed,) if wish.stock is None else (weighed, _rounded(plan, "mL", wish.pipette_ml))


def _rounded(plan: DosePlan, unit: Literal["g", "mL"], step: float) -> MeasuredOut:
    """To the nearest step, and down where that would pass a ceiling."""
    nearest = measured_out(plan.advised, unit, step)
    if plan.advised.raise_total_mg_l + nearest.off_mg_l <= plan.largest.raise_total_mg_l + 1e-9:
        return nearest
    return measured_out(plan.advised, unit, step, down=True)


def _asked_words(so2: VesselSo2, total: VesselTotal | None, wish: DoseWish) -> Iterator[str]:
    """What was done with the owner's word, and what had better be waited for: the gravest first."""
    additions = [at_ms for kind, at_ms in so2.since_then_ms if kind == "addition"]
    newest_ms = max(_additions_ms(so2), default=None)
    if newest_ms is not None and so2.at_ms - newest_ms < _DAY_MS:
        hours = (so2.at_ms - newest_ms) // _HOUR_MS
        yield (
            f"wait: the last addition is {hours} h old and still binding; titrate a day after it, and only then decide "
            "whether more is needed"
        )
    elif additions:
        yield (
            "nobody has titrated since the last addition, so how much of it stayed free is not known: titrate before "
            "you add more"
        )
    titration = so2.last_titration
    if titration is not None and so2.at_ms - titration.at_ms > STALE_MS:
        days = (so2.at_ms - titration.at_ms) // _DAY_MS
        yield f"the last titration is {days} days old, and on your word it counts all the same"
    said = None if total is None else total.said
    if said is not None and said.awaits_malolactic:
        yield f"malolactic fermentation is {said.malolactic}: this addition may stop it"
    usual = SO2_PER_SALT[wish.salt]
    if abs(wish.so2_fraction - usual) > _SAME_FRACTION:
        yield (
            f"you reckon with {100.0 * wish.so2_fraction:.3g} % SO2 in the salt, and the journal will count "
            f"{100.0 * usual:.3g} %, as of fresh salt: say so in the entry's remark"
        )
    stock = wish.stock
    if stock is not None and stock.used_ms is not None and so2.at_ms - stock.used_ms > _STOCK_KEEPS_MS:
        days = (so2.at_ms - stock.used_ms) // _DAY_MS
        yield (
            f"the stock solution was last used {days} days ago, and keeps about a month: make it fresh, or weigh the "
            "salt instead"
        )


def _additions_ms(so2: VesselSo2) -> list[int]:
    return [entry.at_ms for entry in so2.history.entries if isinstance(entry, So2Added)]


def _legal_words(legal: LegalVerdict | None) -> Sequence[str]:
    """Where the expected total is near the law's limit."""
    if legal is None or (legal.told_apart and not legal.above):
        return ()
    return (f"expected after it, {legal.words}",)


def _little(plan: DosePlan, measured: Sequence[MeasuredOut]) -> Sequence[str]:
    best = measured[-1]
    if best.amount > 0.0 or plan.advised.raise_total_mg_l == 0.0:
        return ()
    return (f"that is less than a step of {best.step:g} {best.unit}: it cannot be measured out, and is not worth it",)


def _rest(so2: VesselSo2, total: VesselTotal | None, before: BeforeDose) -> Iterator[str]:
    is_own_ph = before.ph is not None and (so2.acidity is None or so2.acidity.ph != before.ph)
    otherwise = (*_SAID_OTHERWISE, *_ON_PH) if is_own_ph else _SAID_OTHERWISE
    yield from (remark for remark in so2.remarks if not remark.startswith(otherwise))
    if total is not None:
        yield from total.remarks
        if total.total is None and total.legal is not None:
            yield (
                f"whether it stays below the legal limit of {total.legal.total_mg_l:g} mg/L total "
                f"({total.legal.rules.id}) cannot be said"
            )
    if before.ph is not None:
        yield from ph_remarks(before.ph)
