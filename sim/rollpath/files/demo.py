"""The demo tracks and cars that come with the package."""

from pathlib import Path

from rollpath.files.schema import FileError
from rollpath.files.writing import make_folder, write_whole

DEMO_FOLDERS = ("tracks", "cars")


def demo_folder() -> Path:
    """Where the demo tracks and cars lie: beside the package, or inside it once installed."""
    package = Path(__file__).resolve().parents[1]
    installed = package / "demo"
    return installed if installed.is_dir() else package.parents[1]


def copy_demo_data(folder: Path) -> list[Path]:
    """Copy the demo tracks and cars into a folder; what is there already is not touched.

    Returns
    -------
    list of Path
        The files written.

    Raises
    ------
    FileError
        If one of them is there already or cannot be written; then none is written.
    """
    sources = [path for part in DEMO_FOLDERS for path in sorted((demo_folder() / part).rglob("*"))]
    copies = {
        path: folder / path.relative_to(demo_folder())
        for path in sources
        if path.is_file() and path.suffix in (".yaml", ".csv", ".gpx")
    }
    there = [copy for copy in copies.values() if copy.exists()]
    if there:
        raise FileError([f"{copy}: is there already; choose an empty folder" for copy in there])
    for path, copy in copies.items():
        make_folder(copy.parent)
        write_whole(copy, path.read_bytes())
    return list(copies.values())
