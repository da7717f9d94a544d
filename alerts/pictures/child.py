"""The process that draws: a request as JSON comes in, the file goes out. ``python -m alerts.pictures.child``.

It bounds its own memory and processor time before it loads matplotlib, and gives way to everything else. It opens no
connection, and writes no file but in the folder that was made for it, which it removes. Exit code 0, or 2 with the
reason in the last line of standard error.
"""

from __future__ import annotations

__all__ = ["main"]

import io
import os
import shutil
import sys
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Final

from alerts.pictures.document import FOLDER_PREFIX, Picture, PictureKind, PictureRequest, read_request
from alerts.pictures.sheet import ReviewSheet

if TYPE_CHECKING:
    from matplotlib.figure import Figure

# Address space, on 64-bit Linux with matplotlib 3.11: a small picture takes 290 MB, A3 in 400 dots per inch 320 MB.
_MEMORY_BYTES: Final = 768 * 1024 * 1024
_PROCESSOR_S: Final = 60
_NICE: Final = 10


def main() -> int:
    """Draw what standard input asks for."""
    _bound()
    try:
        drawn = _drawn(read_request(sys.stdin.buffer.read()))
        sys.stdout.buffer.write(drawn)
        sys.stdout.buffer.flush()
    except MemoryError:
        return _refused(f"it takes more than {_MEMORY_BYTES // 1024**2} MB of memory")
    except BrokenPipeError:
        return _refused("nobody waits for it any more")
    except ValueError as error:
        return _refused(str(error))
    finally:
        _clear_up()
    return 0


def _clear_up() -> None:
    """Remove the folder that was made for this picture: whoever made it may have been killed since."""
    folder = Path(os.environ.get("MPLCONFIGDIR", ""))
    if folder.name.startswith(FOLDER_PREFIX):
        shutil.rmtree(folder, ignore_errors=True)


def _refused(reason: str) -> int:
    print(reason, file=sys.stderr)  # noqa: T201  the process's answer
    return 2


def _bound() -> None:
    if sys.platform == "win32":  # has neither; the time-out still holds
        return
    import resource

    resource.setrlimit(resource.RLIMIT_AS, (_MEMORY_BYTES, _MEMORY_BYTES))
    resource.setrlimit(resource.RLIMIT_CPU, (_PROCESSOR_S, _PROCESSOR_S))
    os.nice(_NICE)


def _drawn(request: PictureRequest) -> bytes:
    from alerts.pictures.look import put_on

    put_on()
    sheets = _painter(request.picture)()
    if not 0 <= request.sheet < len(sheets):
        raise ValueError(f"the picture has {len(sheets)} pages; there is no page {request.sheet}, counted from 0")
    return _file(sheets, request.kind, request.sheet)


def _painter(picture: Picture) -> Callable[[], Sequence[Figure]]:
    """What paints the pages of this kind of picture."""
    from alerts.pictures.chart_paint import chart_figure
    from alerts.pictures.sheet_paint import sheet_figures

    if isinstance(picture, ReviewSheet):
        return lambda: sheet_figures(picture)
    return lambda: [chart_figure(picture)]


def _file(sheets: Sequence[Figure], kind: PictureKind, sheet: int) -> bytes:
    # No time and no program's version: the same description gives the same bytes.
    file = io.BytesIO()
    if kind == "pdf":
        from matplotlib.backends.backend_pdf import PdfPages

        metadata = {"Creator": "leeside", "Producer": None, "CreationDate": None}
        with PdfPages(file, metadata=metadata) as pages:
            for figure in sheets:
                pages.savefig(figure)
    elif kind == "svg":
        sheets[sheet].savefig(file, format="svg", metadata={"Creator": "leeside", "Date": None})
    else:
        sheets[sheet].savefig(file, format="png", metadata={"Software": "leeside"})
    return file.getvalue()


if __name__ == "__main__":
    sys.exit(main())
