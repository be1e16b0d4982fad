"""What all pages share: they load nothing from the network, and only their own style and script may run."""

from __future__ import annotations

import sys
from base64 import b64encode
from contextlib import suppress
from functools import cache
from hashlib import sha256
from importlib.resources import files
from pathlib import Path
from typing import TYPE_CHECKING, Any

from basemap import __version__
from basemap.report.json_text import today
from basemap.report.words import CODE, EMPHASIS, harmless

if TYPE_CHECKING:
    from jinja2 import BytecodeCache, Environment

_TEMPLATES = files("basemap.report.page") / "templates"


def render(template: str, date: str | None, script: str | None = None, **values: Any) -> str:
    """A page, complete in itself.

    Parameters
    ----------
    date
        ISO 8601; today where none is given.
    script
        File name of its script, if it has one.
    """
    style, code = part("page.css"), None if script is None else part(script)
    page = _environment().get_template(template)
    return page.render(
        style=style,
        script=code,
        policy=policy(style, code),
        version=__version__,
        date=today() if date is None else date,
        **values,
    )


@cache  # a process that makes many pages reads each template once
def _environment() -> Environment:
    from jinja2 import Environment, FunctionLoader, StrictUndefined

    environment = Environment(
        loader=FunctionLoader(part),
        bytecode_cache=_compiled(),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        finalize=_made_harmless,
    )
    environment.filters["safe_text"] = _trusted
    environment.filters["marked"] = _marked
    return environment


def _compiled() -> BytecodeCache | None:
    """Where compiled templates are kept: beside them, as Python keeps its own bytecode. Compiling takes 0.06 s."""
    from jinja2 import FileSystemBytecodeCache
    from jinja2.bccache import Bucket

    folder = Path(str(_TEMPLATES)) / "__pycache__"

    class Kept(FileSystemBytecodeCache):
        """A cache that a read-only folder does not disturb: templates are then compiled at each run."""

        def load_bytecode(self, bucket: Bucket) -> None:
            with suppress(OSError):
                super().load_bytecode(bucket)

        def dump_bytecode(self, bucket: Bucket) -> None:
            with suppress(OSError):
                folder.mkdir(exist_ok=True)
                super().dump_bytecode(bucket)

    return None if sys.dont_write_bytecode else Kept(str(folder), f"%s.{__version__}.cache")


def policy(style: str, script: str | None) -> str:
    """What a browser may do for the page: apply this style and run this script, and nothing else."""
    scripts = "" if script is None else f"script-src '{_hash(script)}'; "
    return f"default-src 'none'; style-src '{_hash(style)}'; {scripts}base-uri 'none'; form-action 'none'"


def part(name: str) -> str:
    """One of the files that a page is made of."""
    return (_TEMPLATES / name).read_text(encoding="utf-8")


def _hash(text: str) -> str:
    return f"sha256-{b64encode(sha256(text.encode('utf-8')).digest()).decode('ascii')}"


def _made_harmless(value: object) -> object:
    """A value that goes into the page: text from users made harmless, markup of our own as it is."""
    return value if hasattr(value, "__html__") or not isinstance(value, str) else harmless(value)


def _marked(text: str) -> object:
    """The words of a rule, their `code` and *emphasis* as HTML elements."""
    from markupsafe import Markup, escape

    safe = str(escape(harmless(text)))
    return Markup(EMPHASIS.sub(r"<em>\1</em>", CODE.sub(r"<code>\1</code>", safe)))


def _trusted(text: str) -> object:
    """Style or script: our own, and so not escaped."""
    from markupsafe import Markup

    return Markup(text)
