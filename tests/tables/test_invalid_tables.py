import tomllib
from pathlib import Path

from basemap.errors import InputError
from basemap.tables.read import read_grid
from tests.jobs.invalid_tables import build

FOLDER = Path(build.__file__).parent
EXPECTED = tomllib.loads((FOLDER / "expected.toml").read_text(encoding="utf-8"))


def _message(name: str) -> str:
    hints = {key: value for key, value in EXPECTED[name].items() if key != "message"}
    try:
        read_grid(FOLDER / name, shown_name=name, **hints)
    except InputError as error:
        return str(error)
    return "none: it was read"


def test_each_file_is_refused_with_its_whole_message() -> None:
    assert {name: _message(name) for name in EXPECTED} == {name: one["message"] for name, one in EXPECTED.items()}


def test_every_file_of_the_folder_is_listed_and_none_is_missing() -> None:
    files = {path.name for path in FOLDER.iterdir() if path.suffix not in (".py", ".toml", ".pyc") and path.is_file()}
    assert files == set(EXPECTED)
    assert len(files) >= 25


def test_what_the_script_writes_is_what_is_kept() -> None:
    kept = {path.name for path in FOLDER.glob("*.xlsx")}
    assert {name for name in build.FILES if name.endswith(".xlsx")} == kept
    for name in set(build.FILES) - kept - {"workbook.csv"}:  # a workbook holds the time at which it was made
        assert (FOLDER / name).read_bytes() == build.FILES[name]()
