"""``basemap injector``: what an injector passes under other conditions than it was rated at."""

from typing import Annotated

import typer

from basemap.cli.options import Json
from basemap.cli.output import answer


def injector(
    flow: Annotated[
        str,
        typer.Option(
            "--flow",
            metavar="TEXT",
            help='Rated static flow, as volume or mass: "280 cc/min", "24 lb/h", or both: "24 lb/h = 252 cc/min".',
            show_default=False,
        ),
    ],
    rated_pressure: Annotated[
        str, typer.Option("--rated-pressure", metavar="TEXT", help="Pressure at which it was rated.")
    ] = "3.0 bar",
    rated_fluid: Annotated[
        str,
        typer.Option(
            "--rated-fluid", metavar="TEXT", help='Fluid it was rated with: a name, or a density such as "0.72 g/cc".'
        ),
    ] = "n-heptane",
    pressure: Annotated[
        str | None,
        typer.Option(
            "--pressure",
            metavar="TEXT",
            help="Pressure across it now. Default: the rated pressure.",
            show_default=False,
        ),
    ] = None,
    fuel: Annotated[str, typer.Option("--fuel", metavar="NAME", help="Fuel in use now.")] = "petrol",
    temperature: Annotated[
        str, typer.Option("--temperature", metavar="TEXT", help="Temperature of the fuel in the rail.")
    ] = "40 degC",
    dead_time: Annotated[
        str | None,
        typer.Option(
            "--dead-time",
            metavar="TEXT",
            help="Dead time at the battery voltage in question; needed for --pulse and --mass.",
            show_default=False,
        ),
    ] = None,
    pulse: Annotated[
        str | None,
        typer.Option("--pulse", metavar="TEXT", help="Show the fuel that this pulse delivers.", show_default=False),
    ] = None,
    mass: Annotated[
        str | None,
        typer.Option("--mass", metavar="TEXT", help="Show the pulse that delivers this much fuel.", show_default=False),
    ] = None,
    json: Json = False,
) -> None:
    """Convert an injector's rating to another pressure and fuel.

    Examples:
      basemap injector --flow "280 cc/min" --fuel E85 --pressure "3.5 bar"
      basemap injector --flow "24 lb/h" --dead-time "0.9 ms" --pulse "8 ms"
      basemap injector --flow "550 cc/min" --dead-time "0.9 ms" --mass "20 mg"
    """
    from basemap.report.injector_facts import InjectorQuestion, work_out

    asked = InjectorQuestion(flow, rated_pressure, rated_fluid, pressure or rated_pressure, fuel, temperature,
                     dead_time, pulse, mass)  # fmt: skip
    answer(work_out(asked), json)
