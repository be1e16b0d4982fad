"""``basemap new``: a job file to start from."""

import sys
from typing import TYPE_CHECKING, Annotated

import typer

from basemap.cli.options import Force, JobFile
from basemap.cli.output import say
from basemap.errors import InputError, reason

if TYPE_CHECKING:
    from basemap.cli.questions import Question


def new(
    job: JobFile,
    blank: Annotated[
        bool, typer.Option("--blank", help="Ask nothing; write a commented template of all sections.")
    ] = False,
    force: Force = False,
) -> None:
    """Ask for what a job needs, and write a job file with comments.

    What you do not know can be left as unknown where the question says so; it is then assumed, and listed as such.

    Examples:
      basemap new van.toml
      basemap new van.toml --blank
    """
    from basemap.report.atomic import refuse_existing, text, write_together

    refuse_existing([job], force)
    content = _template() if blank else _asked()
    write_together({job: text(content)}, force=force)
    fill_in = 'fill in every "?", then ' if blank else ""
    say(f"Written: {job}\nNext: {fill_in}basemap check {job}\n")


def _template() -> str:
    from basemap.jobfile.template import blank_template

    return blank_template()


def _asked() -> str:
    from basemap.cli.answers import is_asked, job_file
    from basemap.cli.questions import parts

    if sys.stdin is None:
        raise _nobody("standard input is closed")
    values: dict[str, str] = {}
    try:
        for part in parts():
            say(f"\n{part.headline}\n")
            for question in part.questions:
                if is_asked(question, values):
                    values[question.key] = _ask(question)
    except typer.Abort as stopped:
        if isinstance(stopped.__context__, EOFError):
            raise InputError(
                "the answers ended before the questions did, and nothing was written: answer them all, or have a "
                "template written, basemap new van.toml --blank",
                place="new",
            ) from None
        raise KeyboardInterrupt from stopped
    except UnicodeDecodeError as cause:
        raise _nobody(f"what was typed is not {cause.encoding}") from None
    except BrokenPipeError:
        raise
    except OSError as cause:
        raise _nobody(reason(cause)) from None
    return job_file(values)


def _nobody(cause: str) -> InputError:
    return InputError(f"nothing can be asked here ({cause}); give --blank for a template to fill in")


def _ask(question: "Question") -> str:
    from basemap.cli.answers import understood

    def value_of(answer: str) -> str:
        try:
            return understood(question, answer)
        except InputError as problem:
            raise typer.BadParameter(str(problem)) from None

    choices = f" ({', '.join(question.choices)})" if question.choices and question.when is None else ""
    answer: str = typer.prompt(
        f"  {question.words}{choices}",
        default=question.default,
        value_proc=value_of,
        show_default=bool(question.default),
    )
    return answer
