"""Ways to begin: the worked job, the blank template, the questions."""

from __future__ import annotations

import tomllib
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from basemap.cli.answers import job_file, understood
from basemap.cli.demo import FILES, WRITTEN, contents
from basemap.cli.questions import Answered, Question, parts
from basemap.errors import InputError
from basemap.jobfile.template import blank_template
from tests.cli.program import ROOT, SAMPLES, Ended, run

VE_ANSWERS = {
    "donor.tables.fuel.quantity": "v",
    "donor.settings.displacement": "",
    "donor.settings.static_flow": "280 cc/min",
    "donor.settings.stoichiometric": "14.7",
    "donor.settings.corrects_rail_pressure": "n",
    "title": 'My "van"',
    "donor.tables.fuel.file": "ferry_van_fuel.csv",
    "donor.tables.fuel.load": "",
    "donor.tables.fuel.load_unit": "",
    "donor.tables.fuel.lambda": "0.95",
    "donor.state": "tuned",
    "donor.engine.displacement": "1998 cc",
    "donor.engine.cylinders": "4",
    "donor.engine.cycle": "",
    "donor.engine.induction": "",
    "donor.engine.rev_limit": "7000 rpm",
    "donor.injectors.static_flow": "280 cc/min",
    "donor.injectors.rated_pressure": "3 bar",
    "donor.injectors.per_cylinder": "",
    "donor.injectors.openings_per_cycle": "",
    "donor.injectors.dead_time": "10:1.75 12:1.20 14:0.85",
    "donor.fuel.blend": "E5",
    "donor.fuel.rail_pressure": "3 bar",
    "donor.fuel.regulator": "manifold",
    "target.engine.displacement": "2393 cc",
    "target.engine.cylinders": "4",
    "target.engine.cycle": "",
    "target.engine.induction": "boosted",
    "target.engine.peak_pressure": "180 kPa",
    "target.engine.rev_limit": "",
    "target.injectors.static_flow": "650 cc/min",
    "target.injectors.rated_pressure": "",
    "target.injectors.per_cylinder": "",
    "target.injectors.openings_per_cycle": "",
    "target.injectors.dead_time": "",
    "target.fuel.blend": "E85",
    "target.fuel.rail_pressure": "3.5 bar",
    "target.fuel.regulator": "f",
}


def typed(answers: dict[str, str]) -> bytes:
    """The answers as typed, in the order in which they are asked."""
    asked = [question.key for part in parts() for question in part.questions if question.key in answers]
    return "".join(f"{answers[key]}\n" for key in asked).encode()


def test_the_first_question_is_what_the_settings_page_says(jobs: Path) -> None:
    ended = run("new", "van.toml", stdin=typed(VE_ANSWERS))
    assert ended.stdout.strip().startswith("What does the map's settings page say?")


def test_answers_become_a_job_that_can_be_run(jobs: Path) -> None:
    ended = run("new", "van.toml", stdin=typed(VE_ANSWERS))
    assert (ended.status, ended.stderr) == (0, "")
    assert ended.stdout.endswith("Written: van.toml\nNext: basemap check van.toml\n")
    written = tomllib.loads((jobs / "van.toml").read_text(encoding="utf-8"))
    assert written["title"] == 'My "van"'
    assert written["donor"]["tables"]["fuel"]["quantity"] == "volumetric efficiency"
    assert written["donor"]["tables"]["fuel"]["lambda"] == 0.95
    assert written["donor"]["injectors"]["dead_time"] == {
        "battery": ["10 V", "12 V", "14 V"], "time": ["1.75 ms", "1.20 ms", "0.85 ms"],
    }  # fmt: skip
    assert written["target"]["engine"]["peak_pressure"] == "180 kPa"
    assert written["target"]["injectors"]["dead_time"] == "unknown"
    assert "displacement" not in written["donor"]["settings"]
    checked = run("check", "van.toml")
    assert checked.status in (3, 4)
    assert checked.stderr == ""


def test_a_pulse_width_table_is_asked_what_is_still_applied(jobs: Path) -> None:
    answers = {
        **VE_ANSWERS,
        "donor.tables.fuel.quantity": "pulse width",
        "donor.tables.fuel.ecu_applies": "pressure, dead time",
    }
    assert run("new", "van.toml", stdin=typed(answers)).status == 0
    written = tomllib.loads((jobs / "van.toml").read_text(encoding="utf-8"))
    assert written["donor"]["tables"]["fuel"]["ecu_applies"] == ["pressure", "dead time"]


def test_a_wrong_answer_is_asked_again_with_the_reason(jobs: Path) -> None:
    answers = typed(VE_ANSWERS).replace(b"1998 cc\n", b"1998\n1998 cc\n")
    ended = run("new", "van.toml", stdin=answers)
    assert ended.status == 0
    assert '"1998" has no unit: write it with one, such as "1998 cc"' in ended.stdout + ended.stderr


def test_answers_that_end_early_write_nothing(jobs: Path) -> None:
    ended = run("new", "van.toml", stdin=b"v\n")
    assert ended.status == 2
    assert ended.stderr.splitlines()[-1] == (
        "basemap: new: the answers ended before the questions did, and nothing was written: answer them all, or have a "
        "template written, basemap new van.toml --blank"
    )
    assert not (jobs / "van.toml").exists()


def test_a_job_that_is_there_is_refused_before_anything_is_asked(jobs: Path) -> None:
    before = (jobs / "ferry_van.toml").read_bytes()
    assert run("new", "ferry_van.toml") == Ended(
        "",
        "basemap: ferry_van.toml: exists already and was left alone, and nothing was written; give --force to replace "
        "it, or name another place\n",
        2,
    )
    assert (jobs / "ferry_van.toml").read_bytes() == before


def test_blank_writes_the_template(jobs: Path) -> None:
    assert run("new", "van.toml", "--blank") == Ended(
        'Written: van.toml\nNext: fill in every "?", then basemap check van.toml\n', "", 0
    )
    assert (jobs / "van.toml").read_text(encoding="utf-8") == blank_template()


@pytest.mark.parametrize(
    ("form", "answer", "message"),
    [
        (Answered.CHOICE, "x", '"x" is none of: one, other'),
        (Answered.CHOICES, "one, x", '"x" is none of: one, other'),
        (Answered.YES_NO, "perhaps", '"perhaps" is neither yes nor no'),
        (Answered.DEAD_TIME, "12", '"12" is no point: write battery voltage, colon, milliseconds, such as 12:1.20'),
        (
            Answered.DEAD_TIME,
            "12:1.20 14:850",
            '"14:850" says 850 ms, and injectors take 0.1 to 5 ms at 12 V. The likeliest reason is the unit: type '
            "milliseconds, such as 0.85 for 850 microseconds",
        ),
        (Answered.NUMBER, "four", '"four" is not a number such as 14.6'),
    ],
)
def test_what_is_no_answer(form: Answered, answer: str, message: str) -> None:
    with pytest.raises(InputError) as caught:
        understood(Question("key", "words", form, choices=("one", "other")), answer)
    assert str(caught.value) == message


TYPED = st.text(st.characters(codec="utf-8"), min_size=1, max_size=30) | st.sampled_from(
    [".5", "4.", "007", "-0", "+1", "1_0", "inf", "infinity", "nan", "1e5", "0x10", "\N{SUPERSCRIPT TWO}", "2024",
     "\x7f", "a\x00b", "\u2028", "9" * 400, "1979-05-27", "true"]
)  # fmt: skip


@given(st.sampled_from([question for part in parts() for question in part.questions]), TYPED)
def test_whatever_is_typed_the_file_is_toml(question: Question, answer: str) -> None:
    try:
        value = understood(question, answer)
    except InputError:
        return
    written = tomllib.loads(job_file({question.key: value}))
    for key in question.key.split("."):
        written = written.get(key, {})
    if question.form in (Answered.TEXT, Answered.QUANTITY) and value:
        assert str(written) == answer.strip() or float(written) == float(answer)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("question", "answer", "value"),
    [
        (Question("title", "", Answered.TEXT), "2024", '"2024"'),
        (Question("title", "", Answered.TEXT), "a\x7f", '"a\\u007f"'),
        (Question("lambda", "", Answered.TEXT, kind="NUMBER"), "0.95", "0.95"),
        (Question("lambda", "", Answered.TEXT, kind="NUMBER"), ".95", '".95"'),
        (Question("lambda", "", Answered.TEXT, kind="NUMBER"), "infinity", '"infinity"'),
        (Question("cylinders", "", Answered.NUMBER), "007", '"007"'),
        (Question("cylinders", "", Answered.NUMBER), "4", "4"),
    ],
)
def test_what_is_written_of_an_answer(question: Question, answer: str, value: str) -> None:
    assert understood(question, answer) == value


def test_bytes_that_are_no_letters_are_asked_again() -> None:
    with pytest.raises(InputError) as caught:
        understood(Question("title", "A title", Answered.TEXT), "van \udcff")
    assert str(caught.value) == "that has bytes in it that are no letters here: type it again"


def test_demo_writes_a_job_and_runs_it(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    ended = run("demo")
    assert (ended.status, ended.stderr) == (0, "")
    folder = tmp_path / "basemap-demo"
    assert sorted(path.name for path in folder.iterdir()) == sorted([*FILES, "ferry_van-adapted"])
    assert sorted(path.name for path in (folder / "ferry_van-adapted").iterdir()) == sorted(WRITTEN)
    assert "WHAT TO LOOK AT NEXT" in ended.stdout
    assert max(len(line) for line in ended.stdout.splitlines()) <= 80


def test_demo_overwrites_nothing(tmp_path: Path) -> None:
    (tmp_path / "ferry_van.toml").write_text("mine")
    ended = run("demo", tmp_path)
    assert (ended.stdout, ended.status) == ("", 2)
    assert [path.name for path in tmp_path.iterdir()] == ["ferry_van.toml"]
    assert (tmp_path / "ferry_van.toml").read_text() == "mine"


@pytest.mark.parametrize("name", WRITTEN)
def test_demo_looks_first_at_all_that_it_will_write(tmp_path: Path, name: str) -> None:
    mine = tmp_path / "ferry_van-adapted" / name
    mine.parent.mkdir()
    mine.write_text("mine")
    assert run("demo", tmp_path) == Ended(
        "",
        f"basemap: {mine}: exists already and was left alone, and nothing was written; give --force to replace it, or "
        "name another place\n",
        2,
    )
    assert [path.name for path in tmp_path.iterdir()] == ["ferry_van-adapted"]
    assert mine.read_text() == "mine"


def test_demo_says_what_it_wrote_where_its_result_cannot_be_written(tmp_path: Path) -> None:
    in_the_way = tmp_path / "ferry_van-adapted"
    in_the_way.write_text("mine")
    assert run("demo", tmp_path) == Ended(
        "",
        f"basemap: {in_the_way}: is a file, where a folder is needed; name another place; the worked job itself was "
        f"written: {tmp_path / 'ferry_van.toml'}\n",
        2,
    )
    assert {path.name for path in tmp_path.iterdir()} == {*FILES, "ferry_van-adapted"}
    assert in_the_way.read_text() == "mine"


@pytest.mark.parametrize("command", [("demo", ""), ("adapt", "ferry_van.toml", "--out", "")])
def test_an_empty_name_is_not_the_current_folder(jobs: Path, command: tuple[str, ...]) -> None:
    before = sorted(jobs.iterdir())
    assert run(*command) == Ended(
        "",
        "basemap: the folder to write into has an empty name: name one, or . for the one that you are in\n",
        2,
    )
    assert sorted(jobs.iterdir()) == before


def test_a_folder_is_no_job_file_to_write(jobs: Path) -> None:
    assert run("new", ".") == Ended(
        "", "basemap: .: is a folder, where a file is to be written; name another place\n", 2
    )


def test_the_demo_is_the_worked_example_to_the_byte() -> None:
    assert contents() == {name: (SAMPLES / name).read_bytes() for name in FILES}


def test_an_installed_package_has_the_demo() -> None:
    """Every kind of file of the demo is named in the package data, or a wheel would not hold it."""
    data = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["tool"]["setuptools"]["package-data"]
    assert {f"**/*{Path(name).suffix}" for name in FILES} <= set(data["basemap"])
