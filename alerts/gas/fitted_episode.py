"""The readings of one episode of a blanket as bins, the jumps between them, and the fits that explain them."""

from __future__ import annotations

__all__ = ["FittedEpisode"]

from typing import Final

from alerts.gas.blanket_bins import BlanketBins
from alerts.gas.blanket_facts import BlanketFacts, BlanketPoint
from alerts.gas.blanket_finding import may_be_young_leak
from alerts.gas.blanket_fit import fit_blanket
from alerts.gas.blanket_minutes import Cut
from alerts.gas.blanket_prior import first_prior, later_prior, prior_after_leak
from alerts.gas.fitted_blanket import DAY_MS, FittedBlanket, fitted_blanket
from alerts.gas.heard_air import HeardAir
from alerts.gas.leak_evidence import Learned, old_step
from alerts.gas.sound_fit import BlanketPrior, Jump

_LEAST_BINS: Final = 4
# What a person writes down happened within so long of the time that is given.
_ABOUT_MS: Final = 3 * 3_600_000
_MOST_JUMPS: Final = 8


class FittedEpisode:
    """One episode, with what was learned in those before it.

    facts: what holds now; fitted: the newest fits; sharp: the same with the noise that was seen, where a fast leak may
    have begun in the last hours; heard: what other gauges show of the weather.
    """

    def __init__(self, facts: BlanketFacts, settle_ms: int) -> None:
        """Begin without readings. settle_ms: a bin is used so long after its end."""
        self.facts = facts
        self.fitted: FittedBlanket | None = None
        self.sharp: FittedBlanket | None = None
        self.heard = HeardAir()
        self._settle_ms = settle_ms
        self._prior: BlanketPrior | None = None
        self._bins = BlanketBins()
        self._jumps: list[Jump] = []
        self._drawn_l: tuple[int, float] | None = None
        self._fit_due = False
        self._closed_ms = 0

    @property
    def has_begun(self) -> bool:
        """Whether there was a first reading, or an episode before it."""
        return self._prior is not None

    def begin(self, dry_kpa: float, celsius: float) -> None:
        """Begin with the first reading: the blanket's dry pressure [kPa] and its temperature."""
        self._prior = first_prior(self.facts, dry_kpa, celsius)

    def add(self, point: BlanketPoint, before_ms: int | None) -> bool:
        """Take a point, and the time of the one before it. True when it is time for a fit."""
        # Of a probe that reads seldom no point may lie between a bin's settling and the end of the next one.
        is_overdue = self._fit_due and before_ms is not None and before_ms - self._closed_ms < self._settle_ms
        is_closed = self._bins.add(point)
        if is_closed:
            self._fit_due = True
            self._closed_ms = point.at_ms
        return (is_closed and is_overdue) or self.is_fit_due(point.at_ms)

    def is_fit_due(self, at_ms: int) -> bool:
        """Whether a bin waits for a fit and has settled by a time (UTC ms)."""
        return self._fit_due and at_ms - self._closed_ms >= self._settle_ms

    def known(self) -> Learned:
        """Give what is known of headspace and instruments: by the fits, by what was known before, or as believed."""
        if self.fitted is not None:
            return self.fitted.learned
        if self._prior is not None:
            w, _, share, zero, _ = self._prior.mean[0]
            return Learned(float(w), float(self._prior.precision[0, 0, 0]) ** -0.5, float(share), float(zero), 0.0, 0.0)
        believed = max(self.facts.filling.capacity_l - self.facts.filling.wine_l, 0.05)
        return Learned(1.0 / believed, self.facts.u_wine_l / believed**2, 0.3, 0.0, 0.0, 0.0)

    def split(self, cut: Cut) -> None:
        """Begin a new segment of readings at a cut."""
        self._bins.split(cut.before_ms, cut.after_ms)
        drawn_l = None
        if self._drawn_l is not None and cut.kpa < 0.0 and abs(cut.after_ms - self._drawn_l[0]) < _ABOUT_MS:
            drawn_l, self._drawn_l = self._drawn_l[1], None
        share = min(max(cut.share, 0.3), 2.0)
        self._jumps.append(Jump(self._bins.segment, cut.after_ms, cut.kpa, share, self.known().w, drawn_l))
        if len(self._jumps) > _MOST_JUMPS:
            del self._jumps[0]
            self._bins.drop_before(self._jumps[0].segment - 1)
        self._fit_due = True

    def draw(self, at_ms: int, litres: float) -> None:
        """Take note of how much wine was drawn about then: the step of that time left so much more headspace."""
        if litres <= 0.0:
            return
        for i in reversed(range(len(self._jumps))):
            jump = self._jumps[i]
            if jump.kpa < 0.0 and abs(jump.at_ms - at_ms) < _ABOUT_MS:
                self._jumps[i] = jump._replace(drawn_l=(jump.drawn_l or 0.0) + litres)
                self._fit_due = True
                return
        self._drawn_l = (at_ms, litres)

    def restart(self, before: BlanketFacts, *, same_wine: bool = True) -> None:
        """Forget the readings, but not what they said of headspace and instruments. before: the facts until now."""
        fitted = self.fitted
        if fitted is not None and fitted.is_suspicious:
            self._prior = prior_after_leak(fitted.learned, fitted.fit, before, self.facts, same_wine=same_wine)
        elif fitted is not None:
            self._prior = later_prior(fitted.fit, before, self.facts, same_wine=same_wine)
        elif before != self.facts:
            self._prior = None
        self._bins = BlanketBins()
        self._jumps = []
        self.fitted = self.sharp = None
        self._fit_due = False

    def fit(self, last: BlanketPoint, *, weather_hides: bool, leak_since_ms: int | None = None) -> None:
        """Explain the readings up to the last point.

        weather_hides: whether only other gauges show the weather; leak_since_ms: since when a leak is certain (UTC ms).
        """
        self._fit_due = False
        if len(self._bins) < _LEAST_BINS or self._prior is None:
            return
        bins = self._bins.arrays()
        # Jumps change the headspace afterwards: the prior is that of before them.
        near_w = None if self.fitted is None or self._jumps else self.fitted.learned.w
        common = self.heard.common(bins.at_ms) if weather_hides else None
        onset_d = None if leak_since_ms is None else (leak_since_ms - float(bins.at_ms[0])) / DAY_MS
        fit = fit_blanket(bins, self.facts, self._prior, self._jumps, near_w, common=common, near_onset_days=onset_d)
        late_step = old_step(fit)
        if late_step is not None:
            at_ms = round(float(bins.at_ms[0]) + late_step.days * DAY_MS)
            before = float(fit.columns.reduced[-1]) - late_step.kpa
            self.split(Cut(at_ms - 1, at_ms + 1, late_step.kpa, 1.0 + late_step.kpa / max(before, 1.0)))
            self._fit_due = False
            bins = self._bins.arrays()
            if len(self._bins) < _LEAST_BINS:
                return
            common = self.heard.common(bins.at_ms) if weather_hides else None
            fit = fit_blanket(bins, self.facts, self._prior, self._jumps, common=common)
        self.fitted = fitted_blanket(fit, last.at_ms)
        self.sharp = None
        if may_be_young_leak(self.fitted, self.facts, last.pressure_kpa):
            seen = self.fitted.unexplained
            if seen is not None:
                fit = fit_blanket(bins, self.facts, self._prior, self._jumps, near_w, seen, common)
                self.sharp = fitted_blanket(fit, last.at_ms)
