"""``basemap new``: a job file to start from."""

import sys
from contextlib import suppress
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from basemap.cli.options import Force, JobFile
from basemap.cli.output import say
from basemap.errors import InputError, as_typed, reason

if TYPE_CHECKING:
    from basemap.cli.interview import Interview


def new(
    job: JobFile,
    blank: Annotated[
        bool, typer.Option("--blank", help="Ask nothing; write a commented template of all sections.")
    ] = False,
    force: Force = False,
) -> None:
    """Ask for what a job needs, write a job file and check it.

    At most 20 questions for a usual job. If you do not know something, answer unknown wherever there is a default; it
    is then assumed, and listed as assumed. ? gives help, back goes back. Ctrl-C keeps the answers in the job file, and
    the same command continues from there.

    Examples:
      basemap new van.toml
      basemap new van.toml --blank
    """
    if blank:
        from basemap.cli.draft import FIRST_LINE
        from basemap.jobfile.template import blank_template
        from basemap.report.atomic import refuse_existing

        refuse_existing([job], force)
        _write(job, f"{FIRST_LINE}\n{blank_template()}", force)
        say(f'Written: {job}\nNext: fill in every "?", then basemap check {as_typed(job)}\n')
        return
    interview = _begun(job, force)
    _answered(interview)
    _write_answers(interview, None)
    say(f"\nWritten: {job}\n\n")
    from basemap.cli.check import check

    with suppress(typer.Exit):  # its status is that of the verdict
        check(job)


def _begun(job: Path, force: bool) -> "Interview":
    """The interview, from where an unfinished job file left it."""
    from basemap.cli.draft import Draft, flat, question_left
    from basemap.cli.interview import Interview
    from basemap.jobfile.load import read_written
    from basemap.report.atomic import refuse_existing

    if job.is_file() and not force:
        with suppress(OSError, UnicodeDecodeError):
            at = question_left(job.read_text(encoding="utf-8"))
            if at is not None:
                say("Continuing where you left off. ? gives help, back goes back, Ctrl-C keeps the answers.\n")
                return Interview(Draft(job, dict(flat(read_written(job).data))), at)
    refuse_existing([job], force)
    say("? gives help, unknown is an answer, back goes back, Ctrl-C keeps the answers.\n")
    return Interview(Draft(job))


def _answered(interview: "Interview") -> None:
    """Ask everything; if it ends early, the answers are kept."""
    if sys.stdin is None:
        raise _nobody("standard input is closed")
    try:
        _asked(interview)
    except (KeyboardInterrupt, SystemExit):
        # A window that is closed ends the input first: the signal may come while the answers are being kept for that.
        if kept := _kept(interview):
            with suppress(OSError):
                say(f"\nKept: {kept}\nNext: basemap new {as_typed(kept)} continues from there\n")
        raise


def _asked(interview: "Interview") -> None:
    """Ask everything; the answers are kept where nobody is left to answer."""
    from basemap.cli.interview import AnswersEnded

    try:
        interview.run()
    except AnswersEnded:
        kept = _kept(interview)
        left = f"the answers are in {kept}, and the same command continues from there" if kept else (
            "nothing was written: answer all of them, or write a template with basemap new van.toml --blank"
        )  # fmt: skip
        raise InputError(f"the answers ended before the questions; {left}", place="new") from None
    except InputError as problem:
        kept = _kept(interview)
        raise InputError(f"{problem.problem}; the answers are in {kept}", place=problem.place) from None
    except UnicodeDecodeError as cause:
        _kept(interview)
        raise _nobody(f"the typed text is not {cause.encoding}") from None
    except BrokenPipeError:
        raise
    except OSError as cause:
        _kept(interview)
        raise _nobody(reason(cause)) from None


def _kept(interview: "Interview") -> Path | None:
    """Write the job file with the answers; `None` if there are none."""
    if not interview.draft.values:
        return None
    _write_answers(interview, interview.at)
    return interview.draft.path


def _write_answers(interview: "Interview", unfinished: int | None) -> None:
    from basemap.cli.draft import as_text

    # What may be replaced was looked at before the first question.
    _write(interview.draft.path, as_text(interview.draft.values, unfinished), True)


def _write(job: Path, content: str, force: bool) -> None:
    """Write the job file and, next to it, the schema for an editor, unless that file name is taken by another file."""
    from basemap.cli.draft import SCHEMA_FILE
    from basemap.jobfile.json_schema import TITLE, job_file_schema
    from basemap.report.atomic import text, write_together
    from basemap.report.json_text import to_text

    write_together({job: text(content)}, force=force)
    beside = job.with_name(SCHEMA_FILE)
    with suppress(OSError, UnicodeDecodeError, InputError):
        if not beside.exists() or f'"title": "{TITLE}"' in beside.read_text(encoding="utf-8"):
            write_together({beside: text(to_text(job_file_schema()))}, force=True)


def _nobody(cause: str) -> InputError:
    return InputError(f"no questions can be asked here ({cause}): use --blank to write a template to fill in")
