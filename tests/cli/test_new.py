"""`basemap new`: what it asks, what it understands, what it keeps, and what it writes."""

from __future__ import annotations

import io
import json
import math
import re
import shutil
import sys
import tomllib
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from jsonschema import Draft202012Validator

from basemap.cli import new
from basemap.cli.answers import plainly, understood
from basemap.cli.draft import FIRST_LINE, Draft, as_text, flat, nested
from basemap.cli.interview import Interview
from basemap.cli.questions import QUESTIONS, Question
from basemap.errors import InputError
from basemap.jobfile.load import build_job
from basemap.jobfile.template import blank_template
from tests.cli.program import SAMPLES, Ended, run

USUAL = """\
plain.csv
VE, kPa
0,95
tuned
1998 ccm, 280 cc/min, 14,7
yes
2.0 litre four cylinders
280 cc/min at 3 Bar
3 bar manifold
10:1.75 12:1,20 14:0.85
Super 95
92 kW @ 6200 rpm, 162 Nm @ 4000 rpm
2393 cc, V4
65 lbs/hr, 43.5 PSI
3,0 bar, hose
11:1.6 14:1.0
E85
109 kW at 6200 RPM, 193 Nm at 4000 RPM, 6500 rpm
same head

"""
ASKED = re.compile(r"^  ([0-9]+) of ([0-9]+)  ", re.MULTILINE)


def with_plain_table(jobs: Path) -> Path:
    """Put a table into the folder whose file says neither what its cells nor what its loads are."""
    lines = (jobs / "ferry_van_fuel.csv").read_text(encoding="utf-8").splitlines()[1:]
    (jobs / "plain.csv").write_text("\n".join(["load" + lines[0].removeprefix("kPa"), *lines[1:]]) + "\n")
    return jobs


@pytest.fixture
def bench(jobs: Path) -> Path:
    """A folder with a table that says little of itself."""
    return with_plain_table(jobs)


@pytest.fixture
def small(bench: Path) -> Path:
    """The same with a table of few cells, for a whole conversation in which they do not matter."""
    (bench / "plain.csv").write_text("load,800,3000,6000\n30,55,70,65\n60,70,85,80\n100,80,95,90\n")
    return bench


@dataclass(frozen=True)
class Usual:
    """The usual job, once for all tests: the folder in which it was made, and what was said."""

    folder: Path
    ended: Ended

    @property
    def job(self) -> Path:
        return self.folder / "van.toml"


@pytest.fixture(scope="module")
def usual(tmp_path_factory: pytest.TempPathFactory) -> Usual:
    folder = tmp_path_factory.mktemp("usual")
    shutil.copy(SAMPLES / "ferry_van_fuel.csv", folder)
    with_plain_table(folder)
    with pytest.MonkeyPatch.context() as patch:
        patch.chdir(folder)
        return Usual(folder, run("new", "van.toml", stdin=USUAL.encode()))


def answered(folder: Path, answers: str, *, name: str = "van.toml", at: int = 0) -> Draft:
    """What is kept of some answers."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(sys, "stdin", io.StringIO(answers))
        interview = Interview(Draft(folder / name), at)
        interview.run()
    return interview.draft


@dataclass(frozen=True)
class Oddly:
    """A job answered in many odd ways at once, for all tests: its folder, what was said, and what was kept."""

    folder: Path
    ended: Ended
    job: dict[str, Any]


@pytest.fixture(scope="module")
def oddly(tmp_path_factory: pytest.TempPathFactory) -> Oddly:
    """Help and a way back, a boosted target, injectors not one to a cylinder, of unknown dead time, and a title."""
    folder = tmp_path_factory.mktemp("oddly")
    shutil.copy(SAMPLES / "ferry_van_fuel.csv", folder)
    with_plain_table(folder)
    lines = USUAL.splitlines()
    lines[12], lines[13] = "2393 cc, 4, turbo", "250 cc/min at 3 bar, 8 injectors, twice"
    lines[15] = "unknown"
    lines[19] = "Two to a cylinder"
    typed = [*lines[:3], "?", "back", "1", *lines[3:13], "0.8 bar gauge", *lines[13:], ""]
    with pytest.MonkeyPatch.context() as patch:
        patch.chdir(folder)
        ended = run("new", "van.toml", stdin="\n".join(typed).encode())
    assert (ended.status, ended.stderr) == (0, "")
    return Oddly(folder, ended, written(folder / "van.toml"))


@pytest.fixture(scope="module")
def entered(tmp_path_factory: pytest.TempPathFactory) -> Draft:
    """The answers of somebody who presses Enter at the displacement of the ECU, both fuels and likeness.

    The title is not known.
    """
    folder = tmp_path_factory.mktemp("entered")
    shutil.copy(SAMPLES / "ferry_van_fuel.csv", folder)
    with_plain_table(folder)
    lines = USUAL.splitlines()
    lines[6] = "4"  # the displacement is that of the page
    lines[10] = lines[16] = ""  # both fuels
    lines[18] = ""  # likeness
    lines[19] = "unknown"  # title
    return answered(folder, "\n".join([*lines, ""]))


def of(key: str) -> Question:
    """The question about a key."""
    return next(question for question in QUESTIONS if key in question.keys)


def written(path: Path) -> dict[str, Any]:
    return dict(flat(tomllib.loads(path.read_text(encoding="utf-8"))))


def test_the_usual_job_takes_at_most_20_questions_and_ends_with_check(
    usual: Usual, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(usual.folder)
    ended = usual.ended
    assert (ended.status, ended.stderr) == (0, "")
    assert len(ASKED.findall(ended.stdout)) == 20 == len(USUAL.splitlines())
    assert all(int(number) <= int(total) for number, total in ASKED.findall(ended.stdout))
    assert ended.stdout.endswith(run("check", "van.toml").stdout)


def test_what_people_type_is_understood(usual: Usual) -> None:
    job = written(usual.job)
    assert {key: job[key] for key in job if key.startswith("donor.")} == {
        "donor.state": "tuned",
        "donor.tables.fuel.file": "plain.csv",
        "donor.tables.fuel.quantity": "volumetric efficiency",
        "donor.tables.fuel.load": "manifold pressure",
        "donor.tables.fuel.load_unit": "kPa",
        "donor.tables.fuel.lambda": 0.95,
        "donor.settings.displacement": "1998 ccm",
        "donor.settings.static_flow": "280 cc/min",
        "donor.settings.stoichiometric": 14.7,
        "donor.settings.same_as_hardware": True,
        "donor.engine.displacement": "2.0 litre",
        "donor.engine.cylinders": 4,
        "donor.engine.rated_power": "92 kW @ 6200 rpm",
        "donor.engine.peak_torque": "162 Nm @ 4000 rpm",
        "donor.injectors.static_flow": "280 cc/min",
        "donor.injectors.rated_pressure": "3 Bar",
        "donor.injectors.dead_time": {"battery": ["10 V", "12 V", "14 V"], "time": ["1.75 ms", "1.20 ms", "0.85 ms"]},
        "donor.fuel.blend": "E5",
        "donor.fuel.octane": 95,
        "donor.fuel.rail_pressure": "3 bar",
        "donor.fuel.regulator": "manifold",
    }
    assert job["target.engine.rated_power"] == "109 kW @ 6200 RPM"
    assert job["target.engine.likeness"] == "same head and cams"


def test_it_repeats_what_it_understood(usual: Usual) -> None:
    for repeated in ("= 2 l (2000 cc), 4 cylinders", "= 65 lb/hr (491.4 g/min), 43.5 psi (2.999 bar)", "= E5, 95 RON"):
        assert repeated in usual.ended.stdout


def test_what_the_file_says_is_shown_and_not_asked(bench: Path) -> None:
    ended = run("new", "van.toml", stdin=b"ferry_van_fuel.csv\n")
    assert "16 engine speeds, 600 to 7000 rpm; 16 loads, 20 to 100 kPa" in ended.stdout
    assert "the file says: volumetric efficiency, manifold pressure" in ended.stdout
    assert "  2 of 3  Its intended lambda" in ended.stdout
    picture = [line.split() for line in ended.stdout.splitlines() if re.fullmatch(r" +[0-9]+ ( [0-9]){16}", line)]
    assert [row[0] for row in (picture[0], picture[-1])] == ["100", "20"]
    assert {"0", "9"} <= {cell for row in picture for cell in row[1:]}


def test_who_knows_nothing_gets_as_far_as_the_job_file_could(small: Path) -> None:
    unknown = "unknown\n"
    answers = [
        "plain.csv\nve\nkPa\n", unknown, "don't know\n", "unknown\n\n", unknown,
        "four\nunknown\n1998 cc\n", unknown, "3 bar manifold\n", "?\n?\n", unknown, unknown,
        "2393 cc, 4\n", "650 cc/min\n\n", "3 bar, manifold\n", unknown, unknown, unknown, unknown, "\n",
    ]  # fmt: skip
    ended = run("new", "van.toml", stdin="".join(answers).encode())
    assert (ended.status, ended.stderr) == (0, "")
    job = written(small / "van.toml")
    assert {key for key, value in job.items() if value == "unknown"} == {
        "donor.state", "donor.tables.fuel.lambda", "donor.injectors.rated_pressure", "donor.injectors.dead_time",
        "donor.fuel.blend", "target.injectors.rated_pressure", "target.injectors.dead_time", "target.fuel.blend",
    }  # fmt: skip
    assert not [key for key in job if ".settings." in key]
    said = " ".join(ended.stdout.split())
    assert "cannot be left open: this is never assumed" in said
    assert (
        "Injector flow told: assumed as the donor's injectors ± 10 %; this affects every pulse, in proportion."
    ) in said
    assert said.count("Look again, or press Enter.") == 1
    assert "Likeness: assumed another engine" in said


def test_enter_is_assumed_and_not_declared(entered: Draft) -> None:
    assert entered.values["target.engine.likeness"] is None
    assert entered.values["donor.engine.displacement"] is None
    job = entered.job(whole=True)
    assert {"target.engine.likeness", "donor.engine.displacement"} <= {one.key for one in job.assumed}
    assert not {"target.engine.likeness", "donor.engine.displacement"} & job.declared


def test_a_table_that_is_corrected_meanwhile_is_read_again(bench: Path) -> None:
    draft = Draft(bench / "van.toml", {"donor.tables.fuel.file": "plain.csv"})
    before = draft.job().donor.table.values
    assert draft.job().donor.table.values.tolist() == before.tolist()
    head, row, *rows = (bench / "plain.csv").read_text().splitlines()
    load, _, *cells = row.split(",")
    (bench / "plain.csv").write_text("\n".join([head, ",".join([load, "12.25", *cells]), *rows, ""]))
    after = draft.job().donor.table.values
    assert (after != before).sum() == 1
    assert 0.1225 in after


def test_help_and_back(oddly: Oddly) -> None:
    assert "Tuned: on that engine a wideband showed" in oddly.ended.stdout
    assert oddly.job["donor.tables.fuel.lambda"] == 1.0


WRONG = (
    ("donor.tables.fuel.file", "no.csv", "no such file: expected a file with a table"),
    ("donor.tables.fuel.lambda", "14,7", "looks like an air/fuel ratio"),
    ("target.engine.displacement", "2393, 4", '"2393" has no unit: write it with one, such as "1998 cc"'),
    ("target.engine.displacement", "2393 l, 4", "outside the plausible range 20 cc to 20 l"),
    ("target.injectors.dead_time", "11:1.0 14:1.6", "rises from 1 ms at 11 V to 1.6 ms at 14 V"),
    ("target.injectors.dead_time", "11:1600 14:1000", "The unit is the likeliest mistake: type milliseconds"),
    ("target.fuel.blend", "diesel", "a diesel engine meters fuel alone"),
    ("target.fuel.rail_pressure", "150 bar, fixed", "a rail pressure of direct injection"),
)


def test_check_s_own_validation_is_at_the_question(small: Path, usual: Usual) -> None:
    """Each wrong answer before the right one, in one go: it is refused where it is typed, and nothing of it is kept."""
    lines, asked = USUAL.splitlines(), [one for one in QUESTIONS if one.when == "always"]
    typed = []
    for question, line in zip(asked, lines, strict=True):
        typed += [wrong for key, wrong, _ in WRONG if of(key) is question] + [line]
    ended = run("new", "van.toml", stdin="\n".join([*typed, ""]).encode())
    assert (ended.status, ended.stderr) == (0, "")
    # What is printed from each question to the next.
    parts = [
        " ".join(part.split()).casefold() for part in re.split(ASKED.pattern, ended.stdout, flags=re.MULTILINE)[3::3]
    ]
    missing = [(key, wrong) for key, wrong, said in WRONG if said.casefold() not in parts[asked.index(of(key))]]
    assert missing == []
    assert (small / "van.toml").read_bytes() == usual.job.read_bytes()


def test_answers_that_end_early_are_kept_and_gone_on_from(small: Path, usual: Usual) -> None:
    lines, done = USUAL.splitlines(keepends=True), 0
    for count in (3, 9, 15):
        ended = run("new", "van.toml", stdin="".join(lines[done:count]).encode())
        assert ended.status == 2
        assert ended.stderr.endswith(
            "basemap: new: the answers ended before the questions; the answers are in van.toml, and the same "
            "command continues from there\n"
        )
        assert run("check", "van.toml").status == 2
        done = count
    ended = run("new", "van.toml", stdin="".join(lines[done:]).encode())
    assert (ended.status, ended.stderr) == (0, "")
    assert (small / "van.toml").read_bytes() == usual.job.read_bytes()


class _Interrupted:
    """Somebody who presses Ctrl-C after the last answer."""

    def __init__(self, *answers: str) -> None:
        self.answers = list(answers)

    def isatty(self) -> bool:
        return False

    def readline(self) -> str:
        if not self.answers:
            raise SystemExit(130)
        return f"{self.answers.pop(0)}\n"


def test_ctrl_c_keeps_the_answers(bench: Path, capsys: pytest.CaptureFixture[str]) -> None:
    from basemap.cli.new import new

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(sys, "stdin", _Interrupted("plain.csv", "ve, kPa"))
        with pytest.raises(SystemExit):
            new(Path("van.toml"))
    assert "Next: basemap new van.toml continues from there" in capsys.readouterr().out
    assert written(bench / "van.toml") == {
        "donor.tables.fuel.file": "plain.csv", "donor.tables.fuel.quantity": "volumetric efficiency",
        "donor.tables.fuel.load": "manifold pressure", "donor.tables.fuel.load_unit": "kPa",
    }  # fmt: skip


def test_nothing_answered_writes_nothing(bench: Path) -> None:
    before = sorted(bench.iterdir())
    ended = run("new", "van.toml")
    assert ended.stderr == (
        "basemap: new: the answers ended before the questions; nothing was written: answer all of them, or write a "
        "template with basemap new van.toml --blank\n"
    )
    assert (ended.status, sorted(bench.iterdir())) == (2, before)


def test_a_pulse_width_table_is_asked_what_is_still_applied(bench: Path) -> None:
    lines = USUAL.splitlines()
    lines[1:2] = ["pulse width", "kPa", "ms", "pressure, dead time"]
    (bench / "plain.csv").write_text("load,1000,3000,6000\n30,2.02,2.25,2.11\n60,4.54,5.11,4.75\n100,9.11,9.56,9.22\n")
    ended = run("new", "van.toml", stdin="\n".join([*lines, ""]).encode())
    assert (ended.status, ended.stderr) == (0, "")
    assert written(bench / "van.toml")["donor.tables.fuel.ecu_applies"] == ["pressure", "dead time"]


def test_an_editor_finds_the_schema_beside_the_job_and_the_job_fits(usual: Usual) -> None:
    first = usual.job.read_text(encoding="utf-8").splitlines()[0]
    assert first == "#:schema ./basemap.schema.json"
    schema = json.loads((usual.folder / "basemap.schema.json").read_text(encoding="utf-8"))
    job = tomllib.loads(usual.job.read_text(encoding="utf-8"))
    assert [error.message for error in Draft202012Validator(schema).iter_errors(job)] == []


def test_a_file_of_that_name_that_is_not_ours_is_left_alone(bench: Path) -> None:
    (bench / "basemap.schema.json").write_text("mine")
    assert run("new", "van.toml", "--blank").status == 0
    assert (bench / "basemap.schema.json").read_text() == "mine"


def test_a_job_that_is_there_is_refused_before_anything_is_asked(jobs: Path) -> None:
    before = (jobs / "ferry_van.toml").read_bytes()
    assert run("new", "ferry_van.toml") == Ended(
        "",
        "basemap: ferry_van.toml: already exists; nothing was written; use --force to replace it, or name another "
        "place\n",
        2,
    )
    assert (jobs / "ferry_van.toml").read_bytes() == before


def test_a_folder_is_no_job_file_to_write(jobs: Path) -> None:
    assert run("new", ".") == Ended(
        "", "basemap: .: is a folder, but a file must be written there; name another place\n", 2
    )


def test_blank_writes_the_template(jobs: Path) -> None:
    assert run("new", "van.toml", "--blank") == Ended(
        'Written: van.toml\nNext: fill in every "?", then basemap check van.toml\n', "", 0
    )
    assert (jobs / "van.toml").read_text(encoding="utf-8") == f"{FIRST_LINE}\n{blank_template()}"


TYPED = st.text(st.characters(codec="utf-8"), min_size=1, max_size=30) | st.sampled_from(
    [".5", "4.", "007", "-0", "+1", "1_0", "inf", "infinity", "nan", "1e5", "0x10", "\N{SUPERSCRIPT TWO}", "2024",
     "\x7f", "a\x00b", "\u2028", "9" * 400, "1979-05-27", "true", "1998 cc, 4", "12:1,2 14:0.9", "1.2.3"]
)  # fmt: skip


@given(st.sampled_from(QUESTIONS), TYPED)
def test_whatever_is_typed_is_refused_or_written_as_toml(question: Question, answer: str) -> None:
    try:
        values = understood(question, answer)
    except InputError:
        return
    assert tomllib.loads(as_text(values)) == nested(values)


@pytest.mark.parametrize(
    ("typed", "plain"),
    [("2,0 l", "2.0 l"), ("four", "4"), ("1998 cc, 4", "1998 cc, 4"), ("1,998 cc", "1,998 cc"), ("0,95", "0.95")],
)
def test_numbers_as_people_write_them(typed: str, plain: str) -> None:
    assert plainly(typed) == plain


def test_bytes_that_are_no_letters_are_asked_again() -> None:
    with pytest.raises(InputError) as caught:
        understood(of("donor.fuel.blend"), "van \udcff")
    assert str(caught.value) == "that contains bytes that are not text here: type it again"


@pytest.mark.parametrize(
    ("typed", "blend", "octane"),
    [
        ("Super 95", "E5", 95), ("super plus 98", "E5", 98), ("gasoline", "unknown", None), ("Petrol", "unknown", None),
        ("regular", "unknown", None), ("95", "unknown", 95), ("premium 98", "unknown", 98), ("e 85", "E85", None),
        ("E0", "petrol", None), ("E10", "E10", None), ("premium 93 AKI", "unknown", "93 AKI"),
        ("Regular 87 (R+M)/2", "unknown", "87 AKI"), ("91 RON", "unknown", 91),
        ("Super E10", "E10", None),
    ],
)  # fmt: skip
def test_petrol_that_may_hold_ethanol_is_not_taken_for_petrol_without(
    typed: str, blend: str, octane: int | str | None
) -> None:
    """EN 228 lets Super hold 5 %; what other words sell holds 0 to 10 %, which is the default for unknown."""
    expected = {"donor.fuel.blend": blend} | ({} if octane is None else {"donor.fuel.octane": octane})
    assert understood(of("donor.fuel.blend"), typed) == expected


@pytest.mark.parametrize("typed", ["premium 93", "regular 87", "91"])
def test_an_octane_that_an_american_pump_may_show_is_asked_for_its_scale(typed: str) -> None:
    with pytest.raises(InputError) as caught:
        understood(of("donor.fuel.blend"), typed)
    number = typed.rpartition(" ")[2]
    assert str(caught.value) == (
        f'"{typed}" may be RON, or (R+M)/2 as American pumps show it: type {number} RON or {number} AKI'
    )


def test_a_boosted_engine_is_asked_how_high_its_pressure_goes(oddly: Oddly) -> None:
    assert oddly.job["target.engine.induction"] == "boosted"
    assert oddly.job["target.engine.peak_pressure"] == "0.8 bar gauge"


def test_a_table_of_boost_asks_how_both_engines_breathe(bench: Path) -> None:
    (bench / "plain.csv").write_text("load,1000,3000,6000\n30,60,70,65\n100,70,85,80\n180,75,90,85\n")
    lines = USUAL.splitlines()
    lines[3] = "unknown"
    lines[12] = "2393 cc, 4, atmospheric"
    ended = run("new", "van.toml", stdin="\n".join([*lines[:7], "turbo", "180 kPa", *lines[7:], ""]).encode())
    assert (ended.status, ended.stderr) == (0, "")
    job = written(bench / "van.toml")
    assert (job["donor.engine.induction"], job["target.engine.induction"]) == ("boosted", "atmospheric")
    assert job["donor.engine.peak_pressure"] == "180 kPa"
    assert "target.engine.peak_pressure" not in job


def test_what_not_knowing_costs_is_said_before_a_table_of_boost_is_explained(bench: Path) -> None:
    (bench / "plain.csv").write_text("load,1000,3000,6000\n30,60,70,65\n100,70,85,80\n180,75,90,85\n")
    ended = run("new", "van.toml", stdin=b"plain.csv\nve\nkPa\nunknown\n")
    assert "Intended lambda: assumed 0.95 ± 0.10" in ended.stdout


def test_of_two_things_only_what_the_file_leaves_open_is_asked(bench: Path) -> None:
    lines = (bench / "plain.csv").read_text(encoding="utf-8").splitlines()
    (bench / "half.csv").write_text("\n".join(["kPa" + lines[0].removeprefix("load"), *lines[1:]]) + "\n")
    ended = run("new", "van.toml", stdin=b"half.csv\nve\nback\nve\n")
    assert ended.stdout.count("  2 of 4  What its cells hold, volumetric efficiency or pulse width\n") == 2
    assert written(bench / "van.toml")["donor.tables.fuel.load_unit"] == "kPa"


def test_injectors_that_are_not_one_to_a_cylinder_rev_limit_and_title_are_kept(oddly: Oddly) -> None:
    job = oddly.job
    assert "= 250 cc/min, 3 bar, 8 injectors, 2 openings" in oddly.ended.stdout
    assert (job["target.injectors.count"], job["target.injectors.openings_per_cycle"]) == (8, 2)
    assert (job["target.engine.rev_limit"], job["title"]) == ("6500 rpm", "Two to a cylinder")
    assert "\nTwo to a cylinder\n" in oddly.ended.stdout


def test_enter_on_a_title_leaves_the_name_of_the_file(usual: Usual) -> None:
    assert USUAL.endswith("\n\n")
    assert "A title for this job\n    [Enter: van]" in usual.ended.stdout
    assert "title" not in written(usual.job)


@pytest.mark.law
def test_what_not_knowing_costs_is_the_band_of_the_job_as_check_has_it(oddly: Oddly, bench: Path) -> None:
    """The wider band is that of the answers with the dead time left open, the narrower that of the same stated."""
    said = " ".join(oddly.ended.stdout.split())
    asked = r"Dead times of these injectors, as V:ms \[Enter: 0.9 ms\] "
    cost = re.search(asked + r"Not knowing widens the band at idle from ([0-9]+) to ([0-9]+) %", said)
    assert cost is not None
    # At the question fuel, power and likeness are still open, as in this job.
    for name, times, expected in (("left", '"unknown"', cost[2]), ("known", KNOWN_DEAD_TIME, cost[1])):
        text = (oddly.folder / "van.toml").read_text(encoding="utf-8")
        target = text.index("[target.engine]")
        head, tail = text[:target], text[target:]
        tail = re.sub(r"(?m)^(likeness|rated_power|peak_torque|rev_limit) = .*\n", "", tail)
        tail = re.sub(r'(?m)^blend = "[^"]*"', 'blend = "unknown"', tail)
        tail = re.sub(r'(?m)^dead_time = "unknown"', f"dead_time = {times}", tail)
        (bench / f"{name}.toml").write_text(head + tail, encoding="utf-8")
        band = re.search(r"HOW SURE \(k = 2\) +idle ([0-9.]+) %", run("check", f"{name}.toml").stdout)
        assert band is not None
        assert math.ceil(float(band[1]) - 1e-9) == int(expected)


KNOWN_DEAD_TIME = '{ battery = ["8 V", "16 V"], time = ["2.1 ms", "0.5 ms"] }'
"""0.9 ms at 14 V, falling by 0.2 ms/V: what is put in for an unknown one."""


def test_a_fuel_that_enter_leaves_open_is_unknown_and_not_left_out(entered: Draft) -> None:
    job = dict(flat(tomllib.loads(as_text(entered.values))))
    build_job(nested(job), entered.path.parent, "van.toml")  # else the answers would be lost at the end
    assert (job["donor.fuel.blend"], job["target.fuel.blend"]) == ("unknown", "unknown")


PULSES = "ms\nrpm\\kPa;30;60;90;100\n1000;2,83;5,08;7,77;8,76\n3000;3,01;5,45;8,31;9,36\n6000;2,85;5,12;7,83;8,82\n"


def test_who_does_not_know_what_is_still_applied_is_asked_again_once_the_engine_is_known(bench: Path) -> None:
    """Which readings of a pulse are plausible depends on the engine: no stand-in for it may refuse an answer."""
    (bench / "plain.csv").write_text(PULSES)
    lines = USUAL.splitlines()
    lines[1] = "unknown"
    ended = run("new", "van.toml", stdin="\n".join([*lines, "dead time", ""]).encode())
    said = " ".join(ended.stdout.split())
    assert (ended.status, ended.stderr) == (0, "")
    assert "What the controller still applies: unknown; this affects everything." in said
    assert said.count("What the controller still applies to a cell") == 2
    assert "more than one interpretation of the cells is plausible" in said
    assert written(bench / "van.toml")["donor.tables.fuel.ecu_applies"] == ["dead time"]


def test_words_of_the_job_file_are_offered_and_no_others() -> None:
    with pytest.raises(InputError) as caught:
        understood(of("donor.state"), "1998 cc")
    assert str(caught.value) == '"1998 cc" is not one of: tuned, generic'


def test_enter_where_there_is_no_default_says_so(bench: Path) -> None:
    ended = run("new", "van.toml", stdin=b"plain.csv\n\nVE, kPa\n")
    assert (
        "    This cannot be left out: what its cells hold, volumetric efficiency or pulse width, such as volumetric "
        "efficiency\n"
    ) in ended.stdout


def test_a_job_whose_title_is_not_known_is_called_as_its_file(entered: Draft) -> None:
    assert entered.values["title"] is None


def test_a_window_that_is_closed_leaves_the_answers(bench: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Reading fails first, and the signal comes while the answers are being kept for that."""

    class Closed(io.StringIO):
        def readline(self, size: int | None = -1, /) -> str:  # type: ignore[override]
            line = super().readline()
            if not line:
                raise OSError(5, "Input/output error")
            return line

    write, calls = new._write_answers, []

    def hung_up(interview: Interview, unfinished: int | None) -> None:
        calls.append(unfinished)
        if len(calls) == 1:
            raise SystemExit(129)
        write(interview, unfinished)

    monkeypatch.setattr(sys, "stdin", Closed("plain.csv\nVE, kPa\n0.95\n"))
    monkeypatch.setattr(new, "_write_answers", hung_up)
    with pytest.raises(SystemExit):
        new.new(bench / "van.toml")
    assert written(bench / "van.toml")["donor.tables.fuel.lambda"] == 0.95


def test_a_file_that_is_not_there_is_named_as_it_was_typed(bench: Path) -> None:
    ended = run("new", "van.toml", stdin=b"nothere.csv\nplain.csv\n")
    assert "    nothere.csv: no such file: expected a file with a table. (? for help)\n" in ended.stdout
