"""Valid files made invalid: bytes flipped, lines dropped or doubled, tokens exchanged or replaced by nasty ones."""

from __future__ import annotations

import io
import random
import re
import zipfile

NASTY = (
    b"", b"0", b"-1", b"1e400", b"-1e400", b"1e-400", b"nan", b"inf", b"-inf", b"9" * 400, b"0x" + b"f" * 6000, b"true",
    b'"unknown"', b'"?"', b"[]", b"{}", b"[[1]]", b"1979-05-27", b"1979-05-27T07:32:00Z", b"07:32:00", b'"\\u0000"',
    b'"a\\nb"', b'"-"', b'"../x"', b'"0 V"', b'"1e308 kPa"', b'"1e-308 cc/min"', b'"12 V \xc2\xb1 1e308 V"', b"\x00",
    b"\xff", b"\xed\xa0\x80", b",", b";", b"\t", b"'", b'"', b"#", b"=1+1", b"1,5", b"1.5", b"1.234,5", b"1'000", b"%",
    b"85%", b"500 rpm", b"\xef\xbc\x91", b"\xe2\x80\xae", b"\x1b[2J", b"\r", b"\n", b"\n\n", b"sep=;", b"null", b"'1'",
    b"<v>1e999</v>", b't="b"', b't="e"', b't="s"', b't="d"', b'r="XFD1048576"', b"<f>1</f>", b"1e-300", b"1e300",
    b'"fixed"', b'"atmospheric"', b'"pulse width"', b'"lambda"', b'"kPa absolute"', b'"inHg vacuum"', b"1e15",
)  # fmt: skip
_TOKEN = re.compile(rb'"[^"\n]*"|[\w.+-]+|[^\w\s]')


def mutated(data: bytes, chance: random.Random) -> bytes:
    """A file with one to six changes; of a workbook, one of its parts is changed and packed again."""
    if data.startswith(b"PK") and chance.random() < 0.8:
        return _repacked(data, chance)
    for _ in range(chance.randint(1, 6)):
        data = chance.choice((_flip, _cut, _drop, _double, _exchange, _replace, _replace, _exchange_lines))(
            data, chance
        )
    return data


def _repacked(data: bytes, chance: random.Random) -> bytes:
    stream = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(data)) as old, zipfile.ZipFile(stream, "w", zipfile.ZIP_DEFLATED) as new:
        changed = chance.choice(old.namelist())
        if chance.random() < 0.5:
            changed = next(name for name in old.namelist() if "sheet1" in name)
        for name in old.namelist():
            content = old.read(name)
            new.writestr(name, mutated(content, chance) if name == changed else content)
    return stream.getvalue()


def _flip(data: bytes, chance: random.Random) -> bytes:
    if not data:
        return data
    at = chance.randrange(len(data))
    return data[:at] + bytes([chance.randrange(256)]) + data[at + 1 :]


def _cut(data: bytes, chance: random.Random) -> bytes:
    return data[: chance.randrange(len(data) + 1)] if chance.random() < 0.2 else data


def _lines(data: bytes, chance: random.Random) -> tuple[list[bytes], int]:
    lines = data.split(b"\n")
    return lines, chance.randrange(len(lines))


def _drop(data: bytes, chance: random.Random) -> bytes:
    lines, at = _lines(data, chance)
    return b"\n".join(lines[:at] + lines[at + 1 :])


def _double(data: bytes, chance: random.Random) -> bytes:
    lines, at = _lines(data, chance)
    return b"\n".join([*lines[:at], lines[at], *lines[at:]])


def _exchange_lines(data: bytes, chance: random.Random) -> bytes:
    lines, at = _lines(data, chance)
    other = chance.randrange(len(lines))
    lines[at], lines[other] = lines[other], lines[at]
    return b"\n".join(lines)


def _spans(data: bytes) -> list[tuple[int, int]]:
    return [found.span() for found in _TOKEN.finditer(data)] or [(0, len(data))]


def _exchange(data: bytes, chance: random.Random) -> bytes:
    spans = _spans(data)
    one, two = sorted(chance.choices(spans, k=2))
    if one[1] > two[0]:
        return data
    return data[: one[0]] + data[two[0] : two[1]] + data[one[1] : two[0]] + data[one[0] : one[1]] + data[two[1] :]


def _replace(data: bytes, chance: random.Random) -> bytes:
    start, end = chance.choice(_spans(data))
    return data[:start] + chance.choice(NASTY) + data[end:]
