"""``basemap fuel``: the properties of a fuel that an ECU needs."""

from typing import Annotated

import typer

from basemap.cli.options import Json
from basemap.cli.output import answer

RAIL_TEMPERATURE = "40 degC"


def fuel(
    name: Annotated[
        str | None,
        typer.Argument(metavar="NAME", help="petrol, E5, E10, E85, E100, M100, iso-octane …", show_default=False),
    ] = None,
    part: Annotated[
        list[str] | None,
        typer.Option(
            "--part",
            metavar="LIQUID=SHARE",
            help="A measured composition instead of a name, in volume %. Give it once per liquid; one liquid may go "
            "without a share and takes the rest.",
            show_default=False,
        ),
    ] = None,
    temperature: Annotated[
        str, typer.Option("--temperature", metavar="TEXT", help="Temperature of the fuel in the rail.")
    ] = RAIL_TEMPERATURE,
    json: Json = False,
) -> None:
    """Show a fuel's stoichiometric ratio, its density and its oxygen.

    Examples:
      basemap fuel E85
      basemap fuel E10 --temperature "55 degC"
      basemap fuel --part ethanol=78 --part petrol
    """
    from basemap.adaptation.quantities.kinds import Kind
    from basemap.errors import InputError
    from basemap.jobfile.quantities import parse_quantity
    from basemap.report.fuel_facts import of_name, of_parts

    if (name is None) == (part is None):
        raise InputError("give either a fuel's name or its composition with --part, as in: basemap fuel E85")
    kelvin = parse_quantity(temperature, Kind.TEMPERATURE, file=None, place="--temperature").value
    answer(of_parts(part or [], kelvin) if name is None else of_name(name, kelvin), json)
