"""The look of every picture: ruled like a page of a cellar book, and readable in grey.

Hairlines instead of frames, ink that is nearly black, one tone for limits; curves differ by their dashes and areas by
their hatching, never by colour alone. The letters are DejaVu, which comes with matplotlib.
"""

from __future__ import annotations

__all__ = [
    "BAND_HATCH",
    "DASHES",
    "HAIRLINE_PT",
    "INK",
    "LIMIT_DASHES",
    "LIMIT_INK",
    "PALE",
    "RULE",
    "SHADE",
    "SMALL_PT",
    "TITLE_FONT",
    "TITLE_PT",
    "put_on",
]

from typing import Final

# Tones: text and curves; small text; rules; the area beyond a limit; a limit. In grey they stay apart: 14, 38, 78, 94
# and 36 % of white.
INK: Final = "#242424"
PALE: Final = "#606060"
RULE: Final = "#c8c8c8"
SHADE: Final = "#f1f0ee"
LIMIT_INK: Final = "#86402c"

HAIRLINE_PT: Final = 0.5
CURVE_PT: Final = 1.1
SMALL_PT: Final = 7.0
TEXT_PT: Final = 8.0
TITLE_PT: Final = 9.5
TITLE_FONT: Final = "DejaVu Serif"

DASHES: Final = {"raw": "solid", "compensated": (0, (5, 2)), "estimate": (0, (6, 2, 1, 2))}
LIMIT_DASHES: Final = (0, (10, 3))
BAND_HATCH: Final = "////"


def put_on() -> None:
    """Set up matplotlib for this process: the Agg backend, nothing of the user's own settings, our letters."""
    import matplotlib as mpl

    mpl.use("agg")
    mpl.rcdefaults()
    mpl.rcParams.update(
        {
            "font.family": "DejaVu Sans",
            "font.size": TEXT_PT,
            "text.color": INK,
            "text.parse_math": False,  # a dollar sign in a name is a dollar sign
            "axes.edgecolor": RULE,
            "axes.linewidth": HAIRLINE_PT,
            "axes.unicode_minus": True,
            "xtick.color": PALE,
            "ytick.color": PALE,
            "xtick.labelsize": SMALL_PT,
            "ytick.labelsize": SMALL_PT,
            "hatch.linewidth": 0.4,
            "lines.linewidth": CURVE_PT,
            "path.simplify_threshold": 0.2,
            "svg.hashsalt": "leeside",  # the same ids in each run
            "svg.fonttype": "path",
            "pdf.fonttype": 42,  # TrueType: text can be searched and copied
        }
    )
