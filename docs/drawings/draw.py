"""The drawings of docs/wiring.md and docs/alarms.md: python docs/drawings/draw.py [FOLDER], by default its own.

The SVG files beside this script are its output and are not edited by hand; tests/test_drawings.py compares them.
"""

from __future__ import annotations

__all__ = ["DRAWINGS"]

import sys
from collections.abc import Callable
from pathlib import Path

from pen import BLUE, GREEN, GREY, INK, RED, Sheet


def current_loop() -> Sheet:
    """A 4-20 mA transmitter, its supply, the shunt and the converter."""
    sheet = Sheet(
        1000,
        490,
        "4-20 mA: one loop through supply, transmitter and shunt",
        "From the plus of a 24 V supply through a fuse to the plus of the transmitter; from its minus through a shunt "
        "of 150 ohm back to the minus of the supply. The converter measures over the shunt, through 10 kilohm.",
    )
    sheet.box(40, 90, 150, 200, "Supply", below="24 V DC")
    sheet.terminal(190, 180, "+", side="left", colour=RED)
    sheet.terminal(190, 250, "−", side="left")
    sheet.box(390, 90, 180, 120, "Transmitter", below="two wires")
    sheet.terminal(390, 180, "+", side="right", colour=RED)
    sheet.terminal(570, 180, "−", side="left")
    sheet.box(820, 90, 150, 260, "Board", below="3.3 V converter")
    sheet.terminal(820, 200, "A0", side="right", colour=BLUE)
    sheet.terminal(820, 320, "GND", side="right")

    sheet.arrow((195, 180), (240, 180), colour=RED)
    sheet.wire((240, 180), (385, 180), colour=RED)
    sheet.fuse(290, 180, colour=RED)
    sheet.words(290, 163, "fuse 50 mA", size=14, anchor="middle")
    sheet.arrow((575, 180), (630, 180))
    sheet.wire((630, 180), (670, 180), (670, 360), (230, 360), (230, 250), (195, 250))
    sheet.resistor(670, 260, upright=True)
    sheet.words(650, 257, "shunt\n150 Ω, 0.1 %", size=14, anchor="end")
    sheet.arrow((470, 360), (430, 360))
    sheet.words(450, 345, "4-20 mA", anchor="middle")

    sheet.joint(670, 200)
    sheet.wire((670, 200), (815, 200), colour=BLUE)
    sheet.resistor(745, 200, colour=BLUE)
    sheet.words(745, 182, "10 kΩ", size=14, anchor="middle")
    sheet.joint(670, 320)
    sheet.wire((670, 320), (815, 320))
    sheet.words(695, 265, "0.6-3.0 V", colour=BLUE)

    sheet.note(
        40,
        412,
        "The current is the same everywhere, however long the wire is. A broken wire gives 0 mA, an empty keg 4 mA.",
    )
    sheet.note(40, 442, 'counts = "0-4095 = 0-22 mA", since 3.3 V over 150 Ω are 22 mA.')
    sheet.caution(
        40, 472, "Switch the 24 V off before you touch the loop. A shunt that comes loose puts 24 V on the pin."
    )
    return sheet


def divider() -> Sheet:
    """A ratiometric transmitter of 5 V and its supply, through two dividers into a converter of 3.3 V."""
    sheet = Sheet(
        1000,
        590,
        "0.5-4.5 V of 5 V: two dividers into a 3.3 V converter",
        "The transmitter's signal goes through 10 kilohm to pin A0, and 15 kilohm and 100 nF lead from there to 0 V. "
        "Its supply goes to pin A1 through another divider of the same values. Supply and 0 V come from the board.",
    )
    sheet.box(40, 90, 180, 370, "Transmitter", below="three wires")
    sheet.terminal(220, 160, "supply", side="left", colour=RED)
    sheet.terminal(220, 320, "signal", side="left", colour=BLUE)
    sheet.terminal(220, 430, "0 V", side="left")
    sheet.box(790, 90, 180, 370, "Board", below="3.3 V converter")
    sheet.terminal(790, 160, "5 V out", side="right", colour=RED)
    sheet.terminal(790, 240, "A1 supply", side="right", colour=RED)
    sheet.terminal(790, 320, "A0 signal", side="right", colour=BLUE)
    sheet.terminal(790, 430, "GND", side="right")

    sheet.wire((225, 160), (785, 160), colour=RED)
    sheet.joint(520, 160, colour=RED)
    sheet.wire((520, 160), (520, 240), (785, 240), colour=RED)
    sheet.resistor(520, 200, upright=True, colour=RED)
    sheet.words(540, 205, "10 kΩ", size=14)
    sheet.joint(520, 240, colour=RED)
    sheet.wire((520, 240), (380, 240), (380, 252), colour=INK)
    sheet.resistor(450, 240)
    sheet.words(450, 222, "15 kΩ", size=14, anchor="middle")
    sheet.earth(380, 252)
    sheet.words(680, 228, "0.6 × supply", size=14, colour=RED, anchor="middle")

    sheet.wire((225, 320), (785, 320), colour=BLUE)
    sheet.resistor(310, 320, colour=BLUE)
    sheet.words(310, 302, "10 kΩ", size=14, anchor="middle")
    sheet.joint(400, 320, colour=BLUE)
    sheet.wire((400, 320), (400, 430))
    sheet.resistor(400, 375, upright=True)
    sheet.words(420, 380, "15 kΩ", size=14)
    sheet.joint(540, 320, colour=BLUE)
    sheet.wire((540, 320), (540, 430))
    sheet.capacitor(540, 375)
    sheet.words(565, 380, "100 nF", size=14)
    sheet.words(680, 308, "0.3-2.7 V", size=14, colour=BLUE, anchor="middle")
    sheet.wire((225, 430), (785, 430))
    for x in (400, 540, 660):
        sheet.joint(x, 430)
    sheet.wire((660, 430), (660, 445))
    sheet.earth(660, 445)

    sheet.note(
        40,
        502,
        "15 / (10 + 15) = 0.6 arrives: 5 V become 3.0 V, and 3.3 V at the pin are 5.5 V at the transmitter.",
    )
    sheet.note(40, 532, 'counts = "0-4095 = 0-5.5 V". The board sends the supply in V: count × 5.5 / 4095.')
    sheet.caution(
        40,
        562,
        "Without the divider up to 5 V reach a pin made for 3.3 V and destroy it. Measure before you connect it.",
    )
    return sheet


def one_wire() -> Sheet:
    """Thermometer chips on the three wires of a board."""
    sheet = Sheet(
        1000,
        590,
        "One-wire thermometers: three wires, one resistor",
        "Each chip has its supply at 3.3 V, its data at one pin of the board, and its ground at 0 V. One resistor of "
        "4.7 kilohm joins data and 3.3 V.",
    )
    sheet.box(40, 90, 180, 230, "Board", below="Raspberry Pi")
    for y, name, colour in ((160, "3.3 V", RED), (220, "GPIO 4", BLUE), (285, "0 V", INK)):
        sheet.terminal(220, y, name, side="left", colour=colour)
    sheet.wire((225, 160), (915, 160), colour=RED)
    sheet.wire((225, 220), (915, 220), colour=BLUE)
    sheet.wire((225, 285), (915, 285))
    sheet.words(930, 165, "supply", size=14, colour=RED)
    sheet.words(930, 225, "data", size=14, colour=BLUE)
    sheet.words(930, 290, "0 V", size=14)
    sheet.wire((300, 160), (300, 220))
    sheet.joint(300, 160, colour=RED)
    sheet.joint(300, 220, colour=BLUE)
    sheet.resistor(300, 190, upright=True)
    sheet.words(320, 195, "4.7 kΩ, once for the whole bus", size=14)
    for x, name, where in ((420, "28-0316a2795bff", "on the barrel"), (690, "28-0316a27977e2", "in the air")):
        sheet.box(x, 360, 200, 90, "")
        sheet.words(x + 100, 415, name, size=15, anchor="middle", code=True)
        sheet.words(x + 100, 438, where, size=14, anchor="middle", colour=GREY)
        for leg, rail, pin, colour in ((160, 160, "VDD", RED), (100, 220, "DQ", BLUE), (40, 285, "GND", INK)):
            sheet.wire((x + leg, 360), (x + leg, rail), colour=colour)
            sheet.joint(x + leg, rail, colour=colour)
            sheet.words(x + leg, 382, pin, size=13, anchor="middle", colour=colour)
    sheet.note(40, 502, "Lay one cable from chip to chip. In a star of long branches signals echo, and checksums fail.")
    sheet.note(
        40,
        532,
        "Check the legs in the data sheet: with GND and VDD swapped a chip gets hot enough to burn your fingers.",
    )
    sheet.caution(
        40, 562, "Do not leave out the supply wire (parasite power): a chip with too little power reports 85 °C."
    )
    return sheet


def serial_line() -> Sheet:
    """A logger that sends by itself, and a meter that is asked, each with its adapter."""
    sheet = Sheet(
        1000,
        500,
        "Serial lines: one sends by itself, one is asked",
        "A logger sends a line of text by itself through a USB adapter. A pH meter gets the question READ? and answers "
        "with a line. Each adapter has a name of its own under /dev/serial/by-id.",
    )
    sheet.box(40, 90, 150, 110, "Logger", below="sends\nby itself")
    sheet.box(40, 260, 150, 110, "pH meter", below="answers\nwhen asked")
    for y in (90, 260):
        sheet.box(560, y, 150, 110, "USB adapter", below="RS-232\ninside")
        sheet.wire((710, y + 55), (820, y + 55), width=3)
        sheet.words(765, y + 43, "USB", size=14, anchor="middle")
    sheet.box(820, 90, 150, 280, "Board", below="with leeside")
    sheet.arrow((190, 145), (560, 145), colour=BLUE)
    sheet.words(375, 132, "14:05:10;C1=12,4;AIR=14,1;OK", size=14, anchor="middle", code=True)
    sheet.words(375, 168, "TX of the logger to RX of the adapter", size=13, anchor="middle", colour=GREY)
    sheet.arrow((560, 300), (190, 300), colour=GREEN)
    sheet.words(375, 288, "READ?\\r\\n", size=14, anchor="middle", code=True)
    sheet.arrow((190, 345), (560, 345), colour=BLUE)
    sheet.words(375, 333, "pH  3.42  12.6 C", size=14, anchor="middle", code=True)
    sheet.note(
        40,
        412,
        "TX goes to RX and RX to TX; 0 V goes to 0 V. A crossed cable (null modem) or a straight one: try both.",
    )
    sheet.note(
        40, 442, "Use the name in /dev/serial/by-id/...: /dev/ttyUSB0 may be the other one after the next start."
    )
    sheet.caution(40, 472, "RS-232 swings from -12 to +12 V. Connect it to an adapter, never to the pins of a board.")
    return sheet


def network_box() -> Sheet:
    """What passes between a box, the broker and leeside, and what is kept while leeside is away."""
    sheet = Sheet(
        1000,
        680,
        "MQTT with QoS 1: what waits where",
        "The box publishes to the broker, which acknowledges. The broker publishes to leeside, which acknowledges when "
        "the reading is on disk. While leeside is away the broker keeps the messages and delivers them afterwards.",
    )
    box, broker, ours = 140, 500, 860
    for x, name, what in (
        (box, "Box", "at the keg"),
        (broker, "Broker", "keeps messages"),
        (ours, "leeside", "stores readings"),
    ):
        sheet.box(x - 90, 70, 180, 62, name, below=what)
    sheet.wire((box, 132), (box, 590), colour=GREY)
    sheet.wire((broker, 132), (broker, 590), colour=GREY)
    sheet.wire((ours, 132), (ours, 330), colour=GREY)
    sheet.wire((ours, 330), (ours, 490), colour=GREY, dashed=True)
    sheet.wire((ours, 490), (ours, 590), colour=GREY)

    def says(y: int, sender: int, taker: int, words: str, colour: str = BLUE) -> None:
        sheet.arrow((sender, y), (taker, y), colour=colour)
        sheet.words((sender + taker) // 2, y - 8, words, size=14, anchor="middle")

    says(170, box, broker, "PUBLISH 8.0, QoS 1, not retained")
    says(205, broker, box, "PUBACK", GREEN)
    says(220, broker, ours, "PUBLISH 8.0, QoS 1")
    sheet.words(ours + 12, 250, "commit:\non disk", size=14, colour=GREEN)
    says(285, ours, broker, "PUBACK", GREEN)
    sheet.words(ours - 12, 385, "leeside is away:\nrestart, update", size=14, colour=RED, anchor="end")
    says(350, box, broker, "PUBLISH 7.9")
    says(385, broker, box, "PUBACK", GREEN)
    says(420, box, broker, "PUBLISH 7.9")
    says(455, broker, box, "PUBACK", GREEN)
    sheet.words(broker + 12, 445, "kept for\nclient_id", size=14, colour=GREEN)
    says(505, ours, broker, "CONNECT, same client_id", GREEN)
    says(540, broker, ours, "PUBLISH 7.9, PUBLISH 7.9")
    says(575, ours, broker, "PUBACK, PUBACK", GREEN)
    sheet.note(40, 622, "If a box sends its own time (JSON, SenML), late readings are judged by that time.")
    sheet.caution(
        40, 652, "mosquitto keeps only 1000 messages for a client that is away, unless it is set to keep more."
    )
    return sheet


def alarm_states() -> Sheet:
    """The states of an alarm and what leads from one to the next."""
    sheet = Sheet(
        1060,
        560,
        "The life of an alarm",
        "Normal becomes unacknowledged when the condition begins. Acknowledged, it becomes normal when the condition "
        "ends. Not acknowledged, it becomes returned when the condition ends, and normal when that is acknowledged.",
    )
    sheet.box(50, 210, 190, 80, "normal", below="in range")
    sheet.box(600, 90, 210, 80, "unacknowledged", below="out of range, not seen")
    sheet.box(400, 250, 210, 80, "acknowledged", below="out of range, seen")
    sheet.box(600, 400, 210, 80, "returned", below="in range, not seen")
    sheet.arrow((145, 210), (145, 130), (600, 130), colour=RED)
    sheet.words(380, 118, "condition begins: message", anchor="middle")
    sheet.arrow((650, 170), (650, 290), (610, 290), colour=BLUE)
    sheet.words(640, 215, "acknowledge", anchor="end")
    sheet.arrow((400, 270), (240, 270), colour=GREEN)
    sheet.words(320, 236, "condition ends:\nmessage", size=14, anchor="middle")
    sheet.arrow((760, 170), (760, 400), colour=GREEN)
    sheet.words(748, 350, "ends:\nmessage", size=14, anchor="end")
    sheet.arrow((600, 440), (145, 440), (145, 290), colour=BLUE)
    sheet.words(372, 428, "acknowledge", anchor="middle")
    sheet.arrow((810, 440), (880, 440), (880, 130), (810, 130), colour=RED)
    sheet.words(892, 270, "begins again:\nthe old occurrence\ncloses, a new one\nopens, message", size=14)
    sheet.note(
        50,
        530,
        "While another limit makes it pointless, or somebody muted it, nothing is announced; then it is judged again.",
    )
    return sheet


DRAWINGS: dict[str, Callable[[], Sheet]] = {
    "current-loop": current_loop,
    "divider": divider,
    "one-wire": one_wire,
    "serial-line": serial_line,
    "network-box": network_box,
    "alarm-states": alarm_states,
}


def main(arguments: list[str]) -> int:
    """Write every drawing into the folder that is named, by default the one of this script."""
    folder = Path(arguments[0]) if arguments else Path(__file__).parent
    for name, draw in DRAWINGS.items():
        (folder / f"{name}.svg").write_text(draw().svg(), encoding="utf-8")
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
