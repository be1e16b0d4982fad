"""Text in the letters that a terminal has: each symbol that its encoding lacks is written as a word."""

from __future__ import annotations

import unicodedata

_WORDS = {
    "λ": "lambda", "η": "eta", "κ": "kappa", "τ": "tau", "ρ": "rho", "ṁ": "mdot", "γ": "gamma", "Π": "Pi", "Ψ": "Psi",
    "Δ": "d", "Σ": "sum", "α": "alpha", "β": "beta", "φ": "phi", "π": "pi", "μ": "u", "µ": "u", "∂": "d", "√": "sqrt",
    "∞": "inf", "±": "+/-", "≤": "<=", "≥": ">=", "×": "x", "·": "*", "–": "-", "—": "-", "−": "-", "…": "...",
    "→": "->", "°": " deg ", "²": "2", "³": "3", "¹": "1", "⁻": "-", "½": "1/2", "′": "'", "Ω": "ohm",
    "▲": "!", "\N{REPLACEMENT CHARACTER}": "?",
}  # fmt: skip


def in_letters_of(encoding: str, text: str) -> str:
    """Text that an encoding can write: a word for each symbol that it lacks, `?` for any other letter.

    >>> in_letters_of("cp437", "ṁ · √(Δp), ρ in kg/m³")
    'mdot · √(dp), rho in kg/m3'
    """
    try:
        text.encode(encoding)
    except UnicodeEncodeError:
        composed = unicodedata.normalize("NFC", text)
        return "".join(_letter(encoding, letter) for letter in composed)
    return text


def _letter(encoding: str, letter: str) -> str:
    try:
        letter.encode(encoding)
    except UnicodeEncodeError:
        return _WORDS.get(letter, "?")
    return letter
