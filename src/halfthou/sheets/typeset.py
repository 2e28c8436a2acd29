"""Pages set by the typesetter: text and pictures in, PDF out; fonts come with the package, nothing from the network."""

import json
import tempfile
from collections.abc import Mapping
from pathlib import Path
from typing import Any, Literal

SHEET = Path(__file__).with_name("layout")


def fonts() -> list[str]:
    """The folder of a sans font that has every sign the sheets use."""
    import matplotlib

    return [str(Path(matplotlib.get_data_path()) / "fonts" / "ttf")]


def set_pages(
    layout: str, data: Mapping[str, Any], pictures: Mapping[str, bytes], *, form: Literal["pdf", "png"] = "pdf"
) -> list[bytes]:
    """Fill a layout (a .typ file beside this module) with data and pictures.

    Returns one byte string for a PDF, one a page for PNG. Equal inputs give equal bytes: no date is written.
    """
    import typst

    with tempfile.TemporaryDirectory(prefix="halfthou-") as folder:
        root = Path(folder)
        (root / "main.typ").write_text((SHEET / layout).read_text(encoding="utf-8"), encoding="utf-8")
        (root / "data.json").write_text(json.dumps(data, ensure_ascii=False), encoding="utf-8")
        for name, content in pictures.items():
            (root / name).write_bytes(content)
        made: Any = typst.compile(
            str(root / "main.typ"), format=form, font_paths=list(fonts()), ignore_system_fonts=True, ppi=110.0
        )
    return [bytes(page) for page in made] if isinstance(made, list) else [bytes(made)]
