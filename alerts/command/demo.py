"""`leeside demo`: a simulated cellar through the real path, from the wire to the mail, with a line for each event."""

from __future__ import annotations

__all__ = ["demo"]

import os
import secrets
import signal
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from pathlib import Path
from queue import Empty, SimpleQueue
from typing import TYPE_CHECKING, Annotated, Final

import typer
from rich.console import Console
from rich.progress import BarColumn, Progress, TextColumn, TimeRemainingColumn

from alerts.command.call_name import call_name
from alerts.command.demo_night import play_last_day
from alerts.command.options import Duration
from alerts.command.supervisor import MODULES
from alerts.errors import AlertsError, MissingPart
from alerts.message.mail_picture import is_late_picture
from alerts.view.alarms.record_lines import step_words
from alerts.view.format import value_text
from ingest.cellar import Cellar, load_cellar
from ingest.entering import enter
from ingest.probes.binding import declarations
from ingest.process import wall_ms
from ingest.reading import Quality, Reason, quality_code
from ingest.store import Store, create_or_open, open_existing
from ingest.store.alarms.alarm_record import transitions
from ingest.store.readings.fresh import Appender
from ingest.store.readings.scales import scales, value_at
from ingest.store.readings.series import declare
from ingest.store.readings.series_history import latest
from ingest.times import iso_utc

if TYPE_CHECKING:
    from ingest.simulation.mailbox import ReceivedMail
    from ingest.simulation.scenario import MillLane

EXAMPLE: Final = "leeside demo --for 90s"

USER: Final = "cellarhand"
LID_LIFTS_S: Final = 8.0
LID_MENDED_S: Final = 50.0
# What the demo promises: the message is there by then.
ALARM_BY_S: Final = 75.0
LOOK_EVERY_S: Final = 0.25
PRESSURE_EVERY_S: Final = 5.0
STOP_S: Final = 15.0
# With a shorter past nobody could know what is usual before the cold night.
_NIGHT_DAYS: Final = 5
_PAST_CADENCE_S: Final = 120

_IMPORTED: Final = quality_code(Quality.GOOD, Reason.IMPORTED)


def demo(
    length_s: Duration = None,
    folder: Annotated[
        Path | None,
        typer.Option(
            "--folder", metavar="PATH", help="Keep the demo's store and cellar file here, in a new or empty folder."
        ),
    ] = None,
    days: Annotated[
        int, typer.Option("--days", metavar="N", min=1, max=90, help="Days of past readings to bring in.")
    ] = 30,
) -> int:
    """Run a simulated cellar through the real path: broker, serial line, store, alarm, message, page.

    Exit code 1 if it ran long enough for the message and none came.
    """
    began = time.monotonic()
    try:
        import aiosmtpd  # noqa: F401  imported here so that its absence is one clear sentence
        import amqtt  # noqa: F401
    except ImportError as error:
        raise MissingPart(
            f"the demo needs {error.name}, which is installed with: pip install 'leeside[demo]'"
        ) from error
    with ExitStack() as stack:
        place = stack.enter_context(_demo_folder(folder))
        cellar = _Demo(place, began, stack)
        # A kill or a closed terminal ends it like Ctrl-C, so that no part goes on alone.
        for ending in (signal.SIGTERM, signal.SIGHUP):
            signal.signal(ending, signal.default_int_handler)
        try:
            cellar.prepare(days)
            cellar.play(length_s)
        except KeyboardInterrupt:
            cellar.say("Stopped.")
            return 0
        finally:
            # A second one must not leave half of the demo running.
            for ending in (signal.SIGINT, signal.SIGTERM, signal.SIGHUP):
                signal.signal(ending, signal.SIG_IGN)
    expected = length_s is not None and length_s >= ALARM_BY_S
    if expected and not cellar.is_warned:
        print("The message that the demo promises did not come; see the lines above.", file=sys.stderr)
        return 1
    return 0


@contextmanager
def _demo_folder(folder: Path | None) -> Iterator[Path]:
    if folder is None:
        with tempfile.TemporaryDirectory(prefix="leeside-demo-") as name:
            yield Path(name)
        return
    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        raise AlertsError(f"{folder} is not an empty folder; the demo writes into a new or empty one only")
    folder.mkdir(parents=True, exist_ok=True)
    yield folder.absolute()


class _Demo:
    """The parts of the demo and what it prints. ``stack`` stops each part that was started, last first."""

    def __init__(self, folder: Path, began: float, stack: ExitStack) -> None:
        self._folder = folder
        self._began = began
        self._stack = stack
        self._console = Console(highlight=False, soft_wrap=True)
        self._mailbox: SimpleQueue[ReceivedMail] = SimpleQueue()
        self.mails = 0
        # Whether the mail about K2 came, which the demo promises.
        self.is_warned = False

    def say(self, text: str) -> None:
        """Print a line with the seconds since the start."""
        self._console.print(f"{time.monotonic() - self._began:5.1f} s  {text}", markup=False)

    def prepare(self, days: int) -> None:
        """Start broker, mailbox and serial line; write the cellar file, and a store with past readings."""
        from ingest.simulation.demo_broker import DemoBroker
        from ingest.simulation.loopback import free_port
        from ingest.simulation.mailbox import Mailbox
        from ingest.simulation.rig import Rig
        from ingest.simulation.scenario import OUTLETS, MillLane
        from ingest.simulation.scenario_file import mill_lane_file

        self._console.print(
            "Mill Lane cellar: three kegs under nitrogen, a carboy, a gas cylinder. None of it exists.", markup=False
        )
        password = secrets.token_urlsafe(12)
        secret = self._folder / "broker-password"
        secret.touch(mode=0o600)
        secret.write_text(password + "\n", encoding="utf-8")
        broker = DemoBroker({USER: password}, self._folder)
        broker.start()
        self._stack.callback(broker.stop)
        mailbox = Mailbox(self._mailbox.put)
        mailbox.start()
        self._stack.callback(mailbox.stop)
        self._lane = MillLane(now_ms=wall_ms(), days=days)
        self._rig = Rig(self._lane.cellar, OUTLETS, broker_port=broker.port, user=USER, password=password)
        self._stack.callback(self._rig.stop)
        self.file = self._folder / "cellar.toml"
        self.file.write_text(
            mill_lane_file(
                broker_port=broker.port,
                user=USER,
                password_file=secret,
                serial_device=self._rig.serial_device,
                mail_port=mailbox.port,
                page_port=free_port(),
                store_path=self._folder / "cellar.db",
            ),
            encoding="utf-8",
        )
        self._cellar = load_cellar(self.file)
        with create_or_open(self._cellar.store_path, wall_ms()) as store:
            self._store_past(store, self._cellar, self._lane, days)
            self._write_journal(store, self._cellar)
            if days >= _NIGHT_DAYS:
                play_last_day(store, self._cellar, self._lane, self.say)

    def _store_past(self, store: Store, cellar: Cellar, lane: MillLane, days: int) -> None:
        series = declare(store, declarations(cellar), wall_ms())
        appender = Appender(store)
        total = days * len(series)
        stored = 0
        until_ms = lane.night_ms if days >= _NIGHT_DAYS else None
        columns = (TextColumn("         {task.description}"), BarColumn(40), TimeRemainingColumn())
        with Progress(*columns, console=self._console, disable=not self._console.is_terminal) as progress:
            task = progress.add_task(f"bringing in {days} days of past readings", total=total)
            for probe, readings in lane.past_readings(cadence_s=_PAST_CADENCE_S, until_ms=until_ms):
                number = series[probe]
                rows = [(number, at, value, _IMPORTED) for at, value, _ in readings]
                stored += appender.append(rows).stored
                progress.advance(task)
        self.say(f"{stored} past readings are in the store.")

    def _write_journal(self, store: Store, cellar: Cellar) -> None:
        from ingest.simulation.scenario_journal import JOURNAL

        now_ms = self._lane.end_ms
        for act in JOURNAL:
            at = iso_utc(now_ms - round(act.days_ago * 86_400_000))
            enter(store, cellar, act.kind, act.answers, who="Ana", now_ms=now_ms, at=at)
        self.say(
            f"{len(JOURNAL)} entries are in the journal: two lots, a racking, a topping, titrations over weeks, "
            "a dose in K2 that nobody has tested yet."
        )

    def play(self, length_s: float | None) -> None:
        """Start the watch and the probes, and say what happens until the time is over."""
        log = self._stack.enter_context((self._folder / "leeside.log").open("wb"))
        watch = subprocess.Popen(
            [sys.executable, "-m", "alerts.command.supervisor", str(self.file), *MODULES],
            stdout=log,
            stderr=subprocess.STDOUT,
            stdin=subprocess.DEVNULL,
            # Ctrl-C reaches only the demo, which then stops everything in order.
            start_new_session=True,
            env={**os.environ, "LEESIDE_PARENT": ""},
        )
        self._stack.callback(_stop_watch, watch)
        start = time.monotonic()
        self._rig.do(lambda now_ms: self._lane.lift_lid(now_ms + int(LID_LIFTS_S * 1000)))
        self._rig.do(lambda now_ms: self._lane.mend_lid(now_ms + int(LID_MENDED_S * 1000)))
        self._rig.start()
        assert self._cellar.page is not None
        self.say(f"Leeside runs. The page: http://{self._cellar.page.address}/")
        call = call_name(sys.argv[0], os.environ.get("PATH", ""))
        self.say(f"In another terminal: {call} now {self.file}")
        self.say(f"What K1 needs, since its free SO2 has fallen: {call} dose {self.file} K1")
        due = {"lid": start + LID_LIFTS_S, "mend": start + LID_MENDED_S, "pressure": start + PRESSURE_EVERY_S}
        steps_shown = 0
        with open_existing(self._cellar.store_path) as store:
            while length_s is None or time.monotonic() - self._began < length_s:
                self._show_mail()
                steps_shown = self._show_alarms(store, steps_shown)
                self._show_what_is_due(store, due, time.monotonic())
                if watch.poll() is not None:
                    raise AlertsError(f"leeside ended by itself; its log says why:\n{self._log_tail()}")
        self.say("The end. One mail was sent." if self.mails == 1 else f"The end. {self.mails} mails were sent.")

    def _show_mail(self) -> None:
        try:
            mail = self._mailbox.get(timeout=LOOK_EVERY_S)
        except Empty:
            return
        if is_late_picture(mail.message["Subject"]):
            return  # it belongs to a mail that was shown, and a terminal shows no pictures
        self.mails += 1
        self.is_warned |= mail.message["Subject"].startswith("HIGH PRIORITY: K2 ")
        self.say(f"A mail arrives for {', '.join(mail.recipients)}:")
        plain = mail.message.get_body(("plain",))  # beside it a mail may have a picture
        body = "" if plain is None else plain.get_content().rstrip()
        for line in (f"Subject: {mail.message['Subject']}", "", *body.splitlines()):
            self._console.print(f"         | {line}", markup=False)

    def _show_alarms(self, store: Store, steps_shown: int) -> int:
        steps = transitions(store)
        for step in steps[steps_shown:]:
            if step.occurrence is None:
                continue  # suppressed, since a worse one speaks
            self.say(f"Alarm {step.occurrence}, {step.key}: {step_words(step.event, step.to_state, step.note)}.")
        return len(steps)

    def _show_what_is_due(self, store: Store, due: dict[str, float], now: float) -> None:
        if now >= due["pressure"]:
            due["pressure"] = now + PRESSURE_EVERY_S
            self._show_pressure(store)
        if now >= due["lid"]:
            due["lid"] = float("inf")
            self.say("The lid of K2 comes off its seat: gas escapes.")
        if now >= due["mend"]:
            due["mend"] = float("inf")
            self.say("Somebody has aired the room, put the lid back in its seat, and charges K2 again.")

    def _show_pressure(self, store: Store) -> None:
        row = store.connection.execute("SELECT id FROM series WHERE probe = 'k2-pressure'").fetchone()
        reading = latest(store, [row[0]]).get(row[0])
        if reading is not None:
            value = value_at(scales(store, row[0]), reading.at_ms, reading.number)
            self.say(f"K2 is at {value_text('pressure', value, self._cellar.site.units)}.")

    def _log_tail(self) -> str:
        return "\n".join((self._folder / "leeside.log").read_text("utf-8", "replace").splitlines()[-10:])


def _stop_watch(watch: subprocess.Popen[bytes]) -> None:
    if watch.poll() is None:
        watch.terminate()
    try:
        watch.wait(STOP_S)
    except subprocess.TimeoutExpired:
        watch.kill()
        watch.wait()
