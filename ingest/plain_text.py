"""Text from people and from the wire, made fit for one line of a terminal, a log or a mail."""

from __future__ import annotations

__all__ = ["line_problem", "one_line", "plain_lines"]


def one_line(text: str, longest: int | None = None) -> str:
    r"""Write out what is not printable (control characters, line breaks, direction marks) as ``\x1b`` or ``\u202e``.

    longest: how many characters may stand at most; what is cut off is shown as ``…``.
    """
    cut = text if longest is None or len(text) <= longest else text[: longest - 1] + "…"
    if cut.isprintable():
        return cut
    return "".join(letter if letter.isprintable() else _escape(ord(letter)) for letter in cut)


def plain_lines(text: str) -> str:
    """Write out what is not printable in each line; the line breaks themselves stay."""
    return "\n".join(map(one_line, text.split("\n")))


def line_problem(text: str, longest: int) -> str:
    """Say what is wrong with text that is to stand in one line; "" where nothing is."""
    if len(text) > longest:
        return f"has {len(text)} characters; at most {longest} are allowed"
    odd = next((letter for letter in text if not letter.isprintable()), None)
    if odd is not None:
        return f"must be one line without control characters or direction marks; {_escape(ord(odd))} stands in it"
    return ""


def _escape(code: int) -> str:
    if code < 0x100:
        return f"\\x{code:02x}"
    return f"\\u{code:04x}" if code < 0x10000 else f"\\U{code:08x}"
