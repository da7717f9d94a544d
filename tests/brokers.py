"""Real brokers for tests: mosquitto, which tests start, stop and kill, and amqtt, which does not support MQTT 5."""

from __future__ import annotations

__all__ = ["Amqtt", "Mosquitto", "broker_address"]

import getpass
import json
import shutil
import signal
import socket
import subprocess
import sys
from collections.abc import Callable, Iterable
from pathlib import Path
from types import TracebackType

from ingest.cellar import MqttSettings
from ingest.simulation.loopback import free_port
from ingest.sources.broker_address import BrokerAddress

_START_S = 10.0
_STOP_S = 10.0
_TRY_S = 0.02
_DYNAMIC_SECURITY = next(Path("/usr/lib").glob("*/mosquitto_dynamic_security.so"), Path("/usr/lib/no-such-plugin"))


def broker_address(
    port: int,
    *,
    host: str = "127.0.0.1",
    client_id: str = "leeside-test",
    password: str | None = None,
    ca_file: Path | None = None,
    **settings: object,
) -> BrokerAddress:
    """Make a broker's address; ``settings`` are fields of MqttSettings, also with values that a file may not have."""
    basis = MqttSettings.model_validate({"host": host, "port": port})
    return BrokerAddress(basis.model_copy(update=settings), client_id, password, ca_file)


def _await_listening(process: subprocess.Popen[bytes], port: int, log: Callable[[], str]) -> None:
    """Return once the port accepts connections; fail if the process ends or takes too long."""
    for _ in range(int(_START_S / _TRY_S)):
        try:
            socket.create_connection(("127.0.0.1", port), timeout=_START_S).close()
            return
        except ConnectionRefusedError:
            try:
                process.wait(_TRY_S)
            except subprocess.TimeoutExpired:
                continue
            raise AssertionError(f"the broker did not start:\n{log()}") from None
    raise AssertionError(f"the broker does not listen:\n{log()}")


class Mosquitto:
    """A broker on the loopback that keeps every message for every session, on disk in ``folder``.

    password: (user, password), which is then required. options: further lines of mosquitto.conf, applied last.
    listener: lines that belong to the listener, such as those for TLS.
    As a context manager it starts and stops; ``stop``, ``kill`` and ``start`` meanwhile keep port and folder.
    """

    def __init__(
        self,
        folder: Path,
        *,
        password: tuple[str, str] | None = None,
        options: Iterable[str] = (),
        listener: Iterable[str] = (),
    ) -> None:
        self.host = "127.0.0.1"
        self.port = free_port()
        self.password = password
        self._folder = folder
        self._config = folder / "mosquitto.conf"
        self._process: subprocess.Popen[bytes] | None = None
        login = [f"allow_anonymous {'false' if password else 'true'}"]
        if password is not None:
            login.append(f"password_file {self._password_file(*password)}")
        self._config.write_text(
            "\n".join(
                [
                    f"listener {self.port} {self.host}",
                    *listener,
                    *login,
                    f"user {getpass.getuser()}",
                    "persistence true",
                    f"persistence_location {folder}/",
                    # Without this, a client that is away loses messages beyond the first 1000.
                    "max_queued_messages 0",
                    "log_dest stderr",
                    *options,
                    "",
                ]
            )
        )

    def _password_file(self, user: str, password: str) -> Path:
        file = self._folder / "passwords"
        subprocess.run(["mosquitto_passwd", "-b", "-c", str(file), user, password], check=True, capture_output=True)
        file.chmod(0o600)
        return file

    def start(self) -> None:
        """Start it and wait until it accepts connections."""
        command = shutil.which("mosquitto") or "/usr/sbin/mosquitto"
        with (self._folder / "broker.log").open("ab") as log:
            self._process = subprocess.Popen([command, "-c", str(self._config)], stdout=log, stderr=log)
        _await_listening(self._process, self.port, self.log)

    def stop(self) -> None:
        """End it as an administrator would; it saves sessions and retained messages."""
        self._end(kill=False)

    def kill(self) -> None:
        """End it as a power cut would; what it had not saved is lost."""
        self._end(kill=True)

    def hang(self) -> None:
        """Stop it in the middle of its work; its connections stay open. ``go_on`` ends that."""
        assert self._process is not None
        self._process.send_signal(signal.SIGSTOP)

    def go_on(self) -> None:
        """Let it work again after ``hang``."""
        assert self._process is not None
        self._process.send_signal(signal.SIGCONT)

    def _end(self, *, kill: bool) -> None:
        if self._process is None:
            return
        if kill:
            self._process.kill()
        else:
            self._process.terminate()
        self._process.wait(_STOP_S)
        self._process = None

    def log(self) -> str:
        """Return what it has logged since its first start."""
        return (self._folder / "broker.log").read_text(errors="replace")

    def publish(self, topic: str, *payloads: str, qos: int = 1, retain: bool = False) -> None:
        """Publish the payloads with a client of its own; return when the broker has them all."""
        command = ["mosquitto_pub", "-h", self.host, "-p", str(self.port), "-t", topic, "-q", str(qos), "-l"]
        if retain:
            command.append("-r")
        if self.password is not None:
            command += ["-u", self.password[0], "-P", self.password[1]]
        subprocess.run(command, check=True, input="".join(f"{payload}\n" for payload in payloads).encode(), timeout=30)

    def __enter__(self) -> Mosquitto:
        self.start()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.stop()


def dynamic_security(folder: Path) -> list[str]:
    """Make lines for mosquitto.conf by which everybody may subscribe below k1/ and nowhere else."""
    topics = [{"acltype": "subscribePattern", "topic": "k1/#", "priority": 0, "allow": True}]
    rules = {
        "defaultACLAccess": {"publishClientSend": True, "publishClientReceive": True, "subscribe": False},
        "clients": [],
        "groups": [{"groupname": "all", "roles": [{"rolename": "below-k1"}]}],
        "roles": [{"rolename": "below-k1", "acls": topics}],
        "anonymousGroup": "all",
    }
    file = folder / "rules.json"
    file.write_text(json.dumps(rules))
    file.chmod(0o600)
    return [f"plugin {_DYNAMIC_SECURITY}", f"plugin_opt_config_file {file}"]


_AMQTT = """
import asyncio, sys
from amqtt.broker import Broker

async def main():
    listener = {"type": "tcp", "bind": "127.0.0.1:" + sys.argv[1]}
    anonymous = {"amqtt.plugins.authentication.AnonymousAuthPlugin": {"allow_anonymous": True}}
    await Broker({"listeners": {"default": listener}, "plugins": anonymous}).start()
    await asyncio.Event().wait()

asyncio.run(main())
"""


class Amqtt:
    """amqtt on the loopback, open to everybody; in its own process, as it leaves sockets to the garbage collector."""

    def __init__(self) -> None:
        self.port = free_port()
        self._process: subprocess.Popen[bytes] | None = None

    def __enter__(self) -> int:
        self._process = subprocess.Popen([sys.executable, "-c", _AMQTT, str(self.port)], stderr=subprocess.DEVNULL)
        _await_listening(self._process, self.port, lambda: "")
        return self.port

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        if self._process is not None:
            self._process.kill()
            self._process.wait(_STOP_S)
