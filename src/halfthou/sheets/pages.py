"""The documentation page of a code, from the docs that come with the package."""

from difflib import get_close_matches
from importlib import resources
from pathlib import Path

from halfthou.base.errors import Complaint, InputError
from halfthou.base.place import Place


def _folders() -> list[Path]:
    """Where the pages lie: beside the source tree, or inside an installed package."""
    inside = Path(str(resources.files("halfthou"))) / "docs" / "codes"
    beside = Path(__file__).resolve().parents[3] / "docs" / "codes"
    return [folder for folder in (beside, inside) if folder.is_dir()]


def code_page(code: str) -> str:
    """The text of docs/codes/CODE.md; a complaint with the nearest codes if there is none."""
    wanted = code.strip().upper()
    known: list[str] = []
    for folder in _folders():
        page = folder / f"{wanted}.md"
        if page.is_file():
            return page.read_text(encoding="utf-8").rstrip()
        known += [path.stem for path in folder.glob("*.md")]
    near = get_close_matches(wanted, known, n=3, cutoff=0.4)
    raise InputError(
        [
            Complaint(
                code="F901",
                place=Place(file="command line", word=code),
                what=f"There is no code {wanted}.",
                do=f"Near it: {', '.join(near)}." if near else "Codes look like P221, N214, F203.",
            )
        ]
    )
