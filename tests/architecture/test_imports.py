"""Imports go down only, and a heavy or replaceable package has one home."""

from __future__ import annotations

from functools import cache

from tests.architecture.source_files import PACKAGE, Import, imports_of, modules

# From the bottom up. A module may import what stands in its own layer or below. The two faces of the program,
# basemap/__init__.py (loads nothing until it is asked) and basemap/__main__.py, stand above everything.
LAYERS: tuple[frozenset[str], ...] = (
    frozenset({"constants", "errors", "exit_status", "rounding"}),
    frozenset({"physics"}),
    frozenset({"model"}),
    frozenset({"adaptation", "belief", "explain", "rules"}),
    frozenset({"report", "workbook", "jobfile", "tables", "logs"}),
    frozenset({"cli"}),
)
TOP = len(LAYERS)

# Rooms of one layer are neighbours, and these are the only doors between them: who imports → what it may import.
CALCULATION, FILES = LAYERS[3], LAYERS[4]
DOORS: dict[str, frozenset[str]] = {
    "belief": frozenset({"adaptation"}),
    "rules": frozenset({"adaptation"}),
    "explain": frozenset({"adaptation"}),
    "report": frozenset({"jobfile", "tables"}),
    "workbook": frozenset({"report", "tables"}),
    "jobfile": frozenset({"tables", "logs"}),
    "logs": frozenset({"tables"}),
}

# The order of the steps ends with how sure the numbers are, and what the rules say of them. That file alone joins both
# to the calculation, and nothing in its layer imports it.
PIPELINE = "basemap.adaptation.pipeline"
JOINED = frozenset({"belief", "rules"})

# `rules` is a leaf: who may import it from above, besides the pipeline's end.
READS_RULES = frozenset({"report", "workbook", "cli"})

# Where the settings in force are worked out.
FIELDS = "basemap.adaptation.setting_fields"

# The rooms of the workbook, each of which may use those before it.
WORKBOOK = ("core", "inputs", "formulas", "pages", "returned")

# Third-party package → the only places that may import it. pint is for the tests alone.
HOMES = {
    "pint": (),
    "pydantic": ("basemap.jobfile",),
    "tomlkit": ("basemap.jobfile",),
    "openpyxl": ("basemap.tables",),
    "defusedxml": ("basemap.tables",),
    "xlsxwriter": ("basemap.workbook",),
    "jinja2": ("basemap.report.page",),
    "markupsafe": ("basemap.report.page",),
    "rich": ("basemap.cli", "basemap.report", "basemap.workbook"),
    "typer": ("basemap.cli", "basemap.__main__"),
}


def layer(module: str) -> int:
    """The layer of a module of the package, 0 at the bottom."""
    parts = module.split(".")
    if len(parts) == 1 or parts[1] == "__main__":
        return TOP
    return next(number for number, names in enumerate(LAYERS) if parts[1] in names)


def in_package(imported: str) -> bool:
    """Whether it is one of ours."""
    return imported == "basemap" or imported.startswith("basemap.")


def upward(found: Import) -> bool:
    """Whether an import goes up. The version in basemap/__init__.py may be read from everywhere."""
    return in_package(found.imported) and found.imported != "basemap" and layer(found.imported) > layer(found.importer)


def room(module: str) -> str:
    """The part of the package in which a module stands: the second word of its name."""
    return f"{module}.".split(".")[1]


def through_a_wall(found: Import) -> bool:
    """Whether an import goes from one room to a neighbour that it has no door to."""
    ours, theirs = room(found.importer), room(found.imported)
    if not in_package(found.imported) or ours == theirs:
        return False
    if theirs == "rules" and found.importer != PIPELINE and ours not in READS_RULES:
        return True
    beside = layer(found.importer) == layer(found.imported) and {ours, theirs} <= CALCULATION | FILES
    if not beside:
        return False
    doors = DOORS.get(ours, frozenset()) | (JOINED if found.importer == PIPELINE else frozenset())
    return theirs not in doors or found.imported == PIPELINE


def back_up_the_workbook(found: Import) -> bool:
    """Whether a room of the workbook loads one that comes after it."""
    ours, theirs = (f"{name}...".split(".")[1:3] for name in (found.importer, found.imported))
    if not found.on_load or {ours[0], theirs[0]} != {"workbook"} or not {ours[1], theirs[1]} <= set(WORKBOOK):
        return False
    return WORKBOOK.index(theirs[1]) > WORKBOOK.index(ours[1])


def circles(imports: dict[str, set[str]]) -> list[list[str]]:
    """Modules that import each other, directly or over others; each list is one circle."""
    reach = {module: _reached(module, imports) for module in imports}
    rings = {frozenset(other for other in reach[module] if module in reach[other]) for module in imports}
    return sorted(sorted(ring) for ring in rings if ring)


def _reached(module: str, imports: dict[str, set[str]]) -> set[str]:
    found: set[str] = set()
    waiting = list(imports[module])
    while waiting:
        if (one := waiting.pop()) not in found:
            found.add(one)
            waiting += imports[one]
    return found


def at_home(found: Import) -> bool:
    """Whether a third-party package is imported where it belongs."""
    homes = HOMES.get(found.imported.split(".")[0])
    if homes is None:
        return True
    return any(found.importer == home or found.importer.startswith(f"{home}.") for home in homes)


@cache
def imports() -> list[Import]:
    """Every import of the package."""
    return [found for path in modules().values() for found in imports_of(path)]


def test_every_module_stands_in_a_layer() -> None:
    assert len(modules()) > 200
    assert [module for module in modules() if not 0 <= layer(module) <= TOP] == []


def test_imports_go_down_only() -> None:
    assert len(imports()) > 1000
    assert [str(found) for found in imports() if upward(found)] == []


def test_the_rooms_of_the_workbook_use_those_before_them_only() -> None:
    assert [str(found) for found in imports() if back_up_the_workbook(found)] == []


def test_neighbours_are_imported_through_their_doors_only() -> None:
    assert [str(found) for found in imports() if through_a_wall(found)] == []


def test_whoever_reads_a_result_takes_the_settings_in_force_from_it() -> None:
    """Only the calculation works them out: `Computed.in_force` carries them to everything above and to `explain`."""
    works_out = {found.importer for found in imports() if found.imported == FIELDS}
    assert works_out
    assert {room(module) for module in works_out} <= {"adaptation", "belief", "rules"}


def test_a_third_party_package_is_imported_in_its_home_only() -> None:
    assert [str(found) for found in imports() if not at_home(found)] == []


def test_physics_imports_nothing_of_ours_but_constants_and_errors() -> None:
    ours = [found for found in imports() if room(found.importer) == "physics" and in_package(found.imported)]
    assert len(ours) > 10
    allowed = {"basemap.constants", "basemap.errors"}
    stray = [one for one in ours if one.imported not in allowed and not one.imported.startswith("basemap.physics")]
    assert list(map(str, stray)) == []


def test_the_rules_see_an_upward_import_and_a_stray_package() -> None:
    source = """
from basemap.model.job import Job
from ..report import atomic
def late() -> None:
    import pint.util
    from basemap import constants
"""
    found = imports_of(PACKAGE / "physics" / "air.py", source)
    assert [str(one) for one in found if upward(one)] == [
        "basemap.physics.air, line 2: imports basemap.model.job",
        f"basemap.physics.air, line 3: imports {found[1].imported}",
    ]
    assert found[1].imported.startswith("basemap.report")
    assert [str(one) for one in found if not at_home(one)] == ["basemap.physics.air, line 5: imports pint.util"]
    assert [one.on_load for one in found] == [True, True, False, False]


def test_the_rules_see_a_wall_and_a_door() -> None:
    def walls(importer: str, *imported: str) -> list[str]:
        found = [Import(importer, name, 1, on_load=True) for name in imported]
        return [one.imported for one in found if through_a_wall(one)]

    steps, rules, belief = "basemap.adaptation.chain", "basemap.rules.judge", "basemap.belief.bands"
    assert walls(PIPELINE, steps, rules, belief) == []
    assert walls(steps, rules, belief, "basemap.model.job") == [rules, belief]
    assert walls(belief, steps, rules, PIPELINE, "basemap.explain.cell") == [rules, PIPELINE, "basemap.explain.cell"]
    assert walls(rules, steps, belief) == [belief]
    assert walls("basemap.jobfile.other_donor", rules, steps, "basemap.report.words") == [rules, "basemap.report.words"]
    assert walls("basemap.report.words", rules, "basemap.workbook.write") == ["basemap.workbook.write"]


def test_no_modules_import_each_other() -> None:
    """Neither on being loaded, nor for types, nor within a function."""
    known = modules()
    ours = {
        module: {found.imported for found in imports_of(path) if found.imported in known} - {"basemap"}
        for module, path in known.items()
    }
    assert circles(ours) == []


def test_a_circle_is_found() -> None:
    assert circles({"a": {"b"}, "b": {"c"}, "c": {"a", "d"}, "d": set(), "e": {"a", "e"}}) == [["a", "b", "c"], ["e"]]
