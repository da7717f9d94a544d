"""Pictures for mails and sheets: what they show as plain data, and a short-lived child process that draws them.

matplotlib needs 70 MB and half a second to start, so no daemon imports it. ``draw`` gives a description to a child
process and gets PNG, SVG or PDF back. In reading order:

chart        what a chart shows: panes on one time axis, lines, points, bands, limits, marks
document     every kind of picture that can be drawn, and the request to draw one, as JSON
drawing      from a description to the bytes of a file, by a child process with a time-out
child        the child process: request in, file out, with bounds on memory and processor time
look         the look of every picture: ink, rules, letters
chart_paint  a chart as matplotlib draws it
sheet        what a sheet of a review shows: two pages of A4
text_flow    text in columns
sheet_paint  a sheet as matplotlib draws it
"""

from alerts.pictures.chart import Chart, ChartBand, ChartLimit, ChartLine, ChartMark, ChartPane, ChartPoints
from alerts.pictures.document import PictureKind
from alerts.pictures.drawing import draw
from alerts.pictures.sheet import ReviewSheet, SheetPoint

__all__ = [
    "Chart",
    "ChartBand",
    "ChartLimit",
    "ChartLine",
    "ChartMark",
    "ChartPane",
    "ChartPoints",
    "PictureKind",
    "ReviewSheet",
    "SheetPoint",
    "draw",
]
