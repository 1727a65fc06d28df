"""Photos from the tablet: made anew from their pixels, kept under their sha256 outside the web root."""

from __future__ import annotations

import hashlib
import io
import os
import re
import tempfile
from pathlib import Path
from typing import BinaryIO

from django.conf import settings

MOST_BYTES = 15_000_000
"""A larger file is no photo of a tablet. [bytes]"""

MOST_PIXELS = 60_000_000
"""A picture of more pixels would fill the memory when it is opened. [pixels]"""

LONGEST_SIDE = 1800
"""Enough to read a meter on it. [pixels]"""

QUALITY = 82
"""Of the JPEG that is kept."""

FORMATS = ("JPEG", "PNG", "WEBP", "HEIF")
"""Pictures that are read; the content decides, never the name. HEIF is what telephones write as .heic."""

MOST_PHOTOS = 200
"""Photos that one house may hold."""


class BadPhoto(ValueError):
    """A file that cannot be kept as a photo; the text says what to do."""


def photo_keep(file: BinaryIO, size: int) -> str:
    """Keep a photo and return the sha256 of what is kept; the same picture again is kept once.

    Parameters
    ----------
    file : what was sent, at its beginning.
    size : its length. [bytes]

    Returns
    -------
    sha256 of a JPEG made from the pixels alone: turned upright, at most 1,800 pixels long, without place, time or
    maker of the camera, and without anything that was hidden behind the picture.

    Raises
    ------
    BadPhoto : too large, or no picture that can be read.
    """
    if size > MOST_BYTES:
        raise BadPhoto(f"The file is {size / 1e6:,.0f} MB. Choose a photo of at most {MOST_BYTES / 1e6:,.0f} MB.")
    content = _made_anew(file)
    digest = hashlib.sha256(content).hexdigest()
    path = photo_path(digest)
    if not path.exists():
        path.parent.mkdir(parents=True, exist_ok=True)
        handle, name = tempfile.mkstemp(dir=path.parent, suffix=".part")
        with os.fdopen(handle, "wb") as part:
            part.write(content)
        os.replace(name, path)
    return digest


def photo_path(sha256: str) -> Path:
    """Where a photo is kept; beside the papers, so that a backup holds both.

    Raises
    ------
    ValueError : no sha256, so that no path can be made up.
    """
    if not re.fullmatch(r"[0-9a-f]{64}", sha256):
        raise ValueError(f"{sha256[:70]!r} is no sha256; enter 64 hex digits")
    folder: Path = settings.DOCUMENTS_DIR / "photos" / sha256[:2]
    return folder / f"{sha256}.jpg"


def _made_anew(file: BinaryIO) -> bytes:
    from PIL import Image, ImageOps, UnidentifiedImageError
    from pillow_heif import register_heif_opener

    register_heif_opener()

    words = "This file cannot be read as a photo. Choose a JPEG, PNG, WebP or HEIC picture."
    try:
        with Image.open(file, formats=FORMATS) as picture:
            if picture.width * picture.height > MOST_PIXELS:
                many = picture.width * picture.height / 1e6
                most = MOST_PIXELS / 1e6
                raise BadPhoto(
                    f"The picture has {many:,.0f} million pixels. Choose one of at most {most:,.0f} million."
                )
            # A JPEG is read small at once; its pixels are never all in memory.
            picture.draft("RGB", (LONGEST_SIDE, LONGEST_SIDE))
            upright = ImageOps.exif_transpose(picture)
            upright.thumbnail((LONGEST_SIDE, LONGEST_SIDE))
            ground = Image.new("RGB", upright.size, "white")
            plain = upright.convert("RGBA")
            ground.paste(plain, mask=plain.getchannel("A"))
    except BadPhoto:
        raise
    except (
        UnidentifiedImageError,
        Image.DecompressionBombError,
        OSError,
        ValueError,
        SyntaxError,
        EOFError,
        RuntimeError,
    ):
        raise BadPhoto(words) from None
    kept = io.BytesIO()
    ground.save(kept, "JPEG", quality=QUALITY, optimize=True)
    return kept.getvalue()
