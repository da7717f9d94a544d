"""`leeside page`: the page's address, also as a code for a phone, and its password."""

from __future__ import annotations

__all__ = ["page"]

import getpass
import os
import secrets
import socket
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Annotated, Final

import typer

from alerts.command.options import File, Json
from alerts.command.terminal import MOST_TRIES, at_a_terminal
from alerts.errors import AlertsError, NotWritten
from ingest.cellar import Cellar, PageSettings, load_cellar
from ingest.json_text import json_text

EXAMPLE: Final = "leeside page cellar.toml --code"

# Any address of another network will do: to connect a datagram socket sends nothing, it only picks the way (RFC 5737).
_ELSEWHERE: Final = ("192.0.2.1", 9)
_EVERY_ADDRESS: Final = ("0.0.0.0", "::")  # noqa: S104  compared with, not listened on


def page(
    file: File,
    code: Annotated[bool, typer.Option("--code", help="Print the address as a QR code, for a phone.")] = False,
    password: Annotated[
        bool, typer.Option("--password", help="Ask for a new password twice, and write its hash.")
    ] = False,
    as_json: Json = False,
) -> int:
    """Show where the page is, as a code for a phone with --code, or set its password.

    Exit code 1 if there is no page, or with --code if no phone can reach it.
    """
    if password and (code or as_json):
        raise typer.BadParameter("not together with --code or --json", param_hint="--password")
    cellar = load_cellar(file)
    if cellar.page is None:
        raise AlertsError(f'{cellar.file} has no [page]; add one with an address, such as address = "127.0.0.1:8420"')
    if password:
        return _set_password(cellar, cellar.page)
    address = page_address(cellar.page)
    is_reachable = cellar.page.opened_by is not None
    if as_json:
        print(
            json_text(
                {
                    "address": address,
                    "listens_at": cellar.page.address,
                    "this_machine_only": not is_reachable,
                    "password": cellar.page.has_password,
                },
                indent=2,
            )
        )
        return 0 if is_reachable or not code else 1
    print(f"The page: {address}")
    if not is_reachable:
        print(
            "Only this machine can reach it. For a phone, let it listen on the network and give it a password: "
            "docs/security.md, The page."
        )
        return 1 if code else 0
    if code:
        _print_code(address)
    return 0


def page_address(page: PageSettings) -> str:
    """Give the address under which people reach the page."""
    if page.url:
        return page.url + "/"
    host = page.names[0] if page.names else page.host
    if host in _EVERY_ADDRESS:
        host = _address_of_this_machine()
    shown = f"[{host}]" if ":" in host else host
    return f"{'https' if page.certificate else 'http'}://{shown}:{page.port}/"


def _address_of_this_machine() -> str:
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as trial:
        try:
            trial.connect(_ELSEWHERE)
            return str(trial.getsockname()[0])
        except OSError:  # no network just now
            return socket.gethostname()


def _print_code(address: str) -> None:
    import segno

    print()
    segno.make(address, error="m", micro=False).terminal(out=sys.stdout, compact=True)
    print("\nPoint the phone's camera at it. The phone must be in the same network.")


def _set_password(cellar: Cellar, page: PageSettings) -> int:
    from alerts.page.doors.passwords import hash_of, password_problem

    text = hash_of(_asked(password_problem))
    if page.password_hash_file is None:
        print(text)
        if page.password_hash_env is not None:
            print(f"Set {page.password_hash_env} to this where leeside is started, in single quotes.", file=sys.stderr)
        else:
            print(
                'Write this into a file, name it in the cellar file ([page] password_hash_file = "page-password"), and '
                "restart leeside.",
                file=sys.stderr,
            )
        return 0
    file = cellar.base / page.password_hash_file
    try:
        _write(file, text + "\n")
    except OSError as error:
        raise AlertsError(f"{file} cannot be written: {error.strerror or error}") from error
    print(f"The hash of the password is in {file}. Restart leeside; everybody then has to log in again.")
    return 0


def _asked(problem_of: Callable[[str], str]) -> str:
    """Return a new password that will do: asked for twice at a terminal, else the first line of the input."""
    if not at_a_terminal():
        line = sys.stdin.readline().removesuffix("\n").removesuffix("\r")
        problem = problem_of(line)
        if problem:
            raise NotWritten(f"This cannot be the password: {problem}. Nothing was written.")
        return line
    for _ in range(MOST_TRIES):
        first = getpass.getpass("New password of the page: ")
        problem = problem_of(first)
        if problem:
            print(f"This cannot be the password: {problem}.")
        elif getpass.getpass("The same again: ") == first:
            return first
        else:
            print("The two were not the same.")
    raise NotWritten("Nothing was written.")


def _write(file: Path, text: str) -> None:
    """Replace a file by one with this text. Its owner and rights stay; a new one is for its owner alone."""
    part = file.with_name(f"{file.name}.{secrets.token_hex(4)}.part")
    descriptor = os.open(part, os.O_WRONLY | os.O_CREAT | os.O_EXCL | os.O_CLOEXEC, 0o600)
    try:
        with os.fdopen(descriptor, "w", encoding="utf-8") as opened:
            if file.exists():
                former = file.stat()
                os.fchmod(descriptor, former.st_mode & 0o777)
                if os.geteuid() == 0:
                    os.fchown(descriptor, former.st_uid, former.st_gid)
            opened.write(text)
            opened.flush()
            os.fsync(descriptor)
        part.replace(file)
    except BaseException:
        part.unlink(missing_ok=True)
        raise
