"""From a description to the bytes of a file, by a child process that ends at once."""

from __future__ import annotations

__all__ = ["draw"]

import os
import subprocess
import sys
import tempfile
from collections.abc import Mapping
from typing import Final

from alerts.errors import PictureFailed
from alerts.pictures.document import FOLDER_PREFIX, Picture, PictureKind, PictureRequest, written_request

# What the child needs of the environment: where Python, its packages and libraries are. No secret goes along.
_PASSED_ON: Final = ("PATH", "TMPDIR", "TEMP", "TMP", "SYSTEMROOT", "LANG", "LD_LIBRARY_PATH")
_LONGEST_ERROR: Final = 300


def draw(picture: Picture, kind: PictureKind, timeout_s: float, *, sheet: int = 0) -> bytes:
    """Draw a picture as PNG, SVG or PDF. The same description gives the same bytes.

    timeout_s: after this time the child is ended; it takes half a second of a desktop's processor, several of a small
    board's. sheet: which page of a picture that has several, from 0; a PDF holds all of them.
    Raises PictureFailed with the reason: too late, out of memory, nothing of the kind to draw.
    """
    request = written_request(PictureRequest(kind=kind, picture=picture, sheet=sheet))
    # The child may have no home that it can write to.
    with tempfile.TemporaryDirectory(prefix=FOLDER_PREFIX, ignore_cleanup_errors=True) as folder:
        try:
            child = subprocess.run(
                [sys.executable, "-m", "alerts.pictures.child"],
                input=request,
                capture_output=True,
                timeout=timeout_s,
                env=_environment(os.environ, folder),
                check=False,
            )
        except subprocess.TimeoutExpired:
            raise PictureFailed(f"the picture was not drawn within {timeout_s:g} s") from None
        except OSError as error:
            raise PictureFailed(f"no process could be started to draw a picture: {error.strerror}") from error
    if child.returncode != 0:
        reason = child.stderr.decode("utf-8", "replace").strip().rpartition("\n")[2][:_LONGEST_ERROR]
        raise PictureFailed(f"the picture was not drawn: {reason or f'its process ended with {child.returncode}'}")
    return child.stdout


def _environment(environ: Mapping[str, str], folder: str) -> dict[str, str]:
    """The child's environment. folder: for what matplotlib keeps while it draws."""
    passed_on = {
        name: value for name, value in environ.items() if name in _PASSED_ON or name.startswith(("PYTHON", "LC_"))
    }
    # Only letters that come with matplotlib are used; looking through all of the machine's fonts can take minutes.
    return passed_on | {"MPLCONFIGDIR": folder, "MPL_IGNORE_SYSTEM_FONTS": "1", "OPENBLAS_NUM_THREADS": "1"}
