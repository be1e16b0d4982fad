"""`--samples` and `--seed`: Monte Carlo from the command line."""

from __future__ import annotations

import json

import pytest

from tests.cli.program import SAMPLES, run

FERRY = SAMPLES / "ferry_van.toml"


def drawn(*options: object) -> dict[str, object]:
    found: dict[str, object] = json.loads(run("check", FERRY, "--json", *options).stdout)
    return found


def test_a_seed_repeats_a_run_and_another_does_not() -> None:
    first, again, other = (drawn("--samples", 300, "--seed", seed)["uncertainty"] for seed in (1, 1, 2))
    assert first == again
    assert first != other


def test_without_samples_nothing_is_drawn() -> None:
    found = drawn()["uncertainty"]
    assert isinstance(found, dict)
    assert found["samples"] == 0
    assert all(cell is None for row in found["probability_leaner"] for cell in row)


def test_the_answer_names_the_chance_of_a_lean_cell() -> None:
    assert "Of 300 random samples, at most " in " ".join(run("check", FERRY, "--samples", 300).stdout.split())


@pytest.mark.parametrize(
    ("options", "message"),
    [
        (("--samples", 5), "basemap: --samples: 5 is not from 100 to 10000000; 100000 is plenty\n"),
        (("--seed", 5), "basemap: --seed: needs --samples: give both\n"),
        (
            ("--samples", "abc"),
            'basemap: --samples: "abc" is not a whole number: write one from 100 to 10000000; 100000 is plenty\n',
        ),
        (
            ("--samples", "1e5"),
            'basemap: --samples: "1e5" is not a whole number: write one from 100 to 10000000; 100000 is plenty\n',
        ),
        (
            ("--samples", 100, "--seed", "1.5"),
            'basemap: --seed: "1.5" is not a whole number: write one from 0, such as 1\n',
        ),
        (
            ("--samples", 100, "--seed", -1),
            "basemap: --seed: -1 is negative: write a whole number from 0\n",
        ),
    ],
)
def test_what_is_refused(options: tuple[object, ...], message: str) -> None:
    ended = run("check", FERRY, *options)
    assert (ended.status, ended.stdout, ended.stderr) == (2, "", message)
