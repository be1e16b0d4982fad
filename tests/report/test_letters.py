"""A terminal that knows only its code page: words for the symbols that it lacks, no two of them alike."""

from __future__ import annotations

import pytest

from basemap.report.letters import in_letters_of

SYMBOLS = ("λ", "η", "κ", "τ", "ρ", "ṁ", "m\N{COMBINING DOT ABOVE}_set", "γ", "Π", "Ψ", "√", "Δp", "V_t", "m_fuel")


@pytest.mark.law
@pytest.mark.parametrize("encoding", ["ascii", "cp437", "cp850", "cp1252", "latin-1", "utf-8"])
def test_two_symbols_never_become_one(encoding: str) -> None:
    written = [in_letters_of(encoding, symbol) for symbol in SYMBOLS]
    assert len(set(written)) == len(SYMBOLS)
    assert "?" not in "".join(written)
    for text in written:
        text.encode(encoding)


@pytest.mark.law
def test_what_the_code_page_has_stays() -> None:
    assert in_letters_of("cp437", "τ ± √2, ρ") == "τ ± √2, rho"
    assert in_letters_of("utf-8", "λ · ṁ") == "λ · ṁ"


@pytest.mark.law
def test_letters_of_users_that_it_lacks_are_question_marks() -> None:
    assert in_letters_of("ascii", "Žluť λ") == "?lu? lambda"
