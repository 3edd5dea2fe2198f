"""`pattress circuit`: the group, and its questions about loads, contacts, breakers and dimmers."""

from typing import TYPE_CHECKING, Annotated

import typer

from pattress.cli.circuit_options import (
    Count,
    FamilyOption,
    IsDc,
    KindOption,
    MaybeSite,
    ModuleOption,
    PowerFactor,
    RatedAmperes,
    RatedWatts,
    Volts,
    answer_with,
    load_kind,
    sheet_of,
    tables_for,
)
from pattress.cli.commands import circuit_place, circuit_runs
from pattress.cli.help_text import Commands
from pattress.cli.options import AsJson

if TYPE_CHECKING:
    from pattress.model.circuit import EdgeOfDimming

circuit = typer.Typer(
    cls=Commands,
    help="Compute a circuit: what it draws, what carries it, what it drops; the working line by line.",
    epilog="Exit status: 0 fits, 1 does not fit, 2 wrong usage or files, 3 could not be decided.",
    no_args_is_help=True,
    rich_markup_mode=None,
    add_completion=False,
)
Watts = Annotated[float, typer.Argument(metavar="WATTS", help="Power of one piece, in watts.")]


@circuit.command("load")
def load(
    watts: Watts,
    voltage: Volts,
    kind: KindOption = "resistive",
    count: Count = 1,
    power_factor: PowerFactor = None,
    phases: Annotated[int, typer.Option("--phases", help="1 or 3.")] = 1,
    efficiency: Annotated[float, typer.Option("--efficiency", help="Of a motor, 0.001 to 1.")] = 1.0,
    dc: IsDc = False,
    family: FamilyOption = None,
    site: MaybeSite = None,
    json: AsJson = False,
) -> None:
    """Tell how many amperes a load draws.

    Example: pattress circuit load 9 --count 6 --kind led-lamp --voltage 230
    """
    from pattress.circuit.load import load_answer
    from pattress.model.circuit import Load

    tables = tables_for(site, family)
    asked = Load(channel="output.1", kind=load_kind(kind), power_w=watts, count=count, power_factor=power_factor)
    answer = load_answer(asked, voltage, tables, is_dc=dc, phases=phases, efficiency=efficiency)
    answer_with(answer, tables, json=json)


@circuit.command("rating")
def rating(
    voltage: Volts,
    rated_a: RatedAmperes = None,
    rated_w: RatedWatts = None,
    module: ModuleOption = None,
    family: FamilyOption = None,
    site: MaybeSite = None,
    json: AsJson = False,
) -> None:
    """Tell what a module may carry at a voltage: the lower of its ampere and its watt rating.

    Example: pattress circuit rating --rated-a 16 --rated-w 3500 --voltage 230
    """
    from pattress.circuit.load import rating_answer

    sheet = sheet_of(module, site)
    answer = rating_answer(_or(rated_a, sheet.rated_current_a), _or(rated_w, sheet.rated_power_w), voltage)
    answer_with(answer, tables_for(site, family), json=json)


@circuit.command("contact")
def contact(
    watts: Watts,
    voltage: Volts,
    kind: KindOption = "resistive",
    count: Count = 1,
    power_factor: PowerFactor = None,
    continuous: Annotated[bool, typer.Option("--continuous", help="On for three hours or more.")] = False,
    rated_a: RatedAmperes = None,
    rated_w: RatedWatts = None,
    module: ModuleOption = None,
    dc: IsDc = False,
    family: FamilyOption = None,
    site: MaybeSite = None,
    json: AsJson = False,
) -> None:
    """Tell whether a module's contact carries a load, inrush and derating of its kind included.

    Example: pattress circuit contact 9 --count 6 --kind led-lamp --voltage 230 --rated-a 10
    """
    from pattress.circuit.derating import module_answer, stated_limits
    from pattress.model.circuit import Load

    tables, sheet = tables_for(site, family), sheet_of(module, site)
    asked = Load(
        channel="output.1",
        kind=load_kind(kind),
        power_w=watts,
        count=count,
        power_factor=power_factor,
        is_continuous=continuous,
    )
    stated_w, stated_a = stated_limits(sheet, asked, voltage, tables, is_dc=dc)
    answer = module_answer(
        asked,
        voltage,
        tables,
        rated_current_a=_or(rated_a, sheet.rated_current_a),
        rated_power_w=_or(rated_w, sheet.rated_power_w),
        stated_w=stated_w,
        stated_a=stated_a,
        is_dc=dc,
    )
    answer_with(answer, tables, json=json)


@circuit.command("inrush")
def inrush(
    amperes: Annotated[float, typer.Argument(metavar="AMPERES", help="Steady current, in amperes.")],
    rated_a: Annotated[float, typer.Option("--rated-a", help="Ampere rating of the contact, in amperes.")],
    kind: KindOption = "led-lamp",
    family: FamilyOption = None,
    site: MaybeSite = None,
    json: AsJson = False,
) -> None:
    """Tell whether a contact closes on the first moment of a load.

    Example: pattress circuit inrush 0.5 --kind led-lamp --rated-a 10
    """
    from pattress.circuit.derating import inrush_answer

    tables = tables_for(site, family)
    answer_with(inrush_answer(load_kind(kind), amperes, rated_a, tables), tables, json=json)


@circuit.command("breaker")
def breaker(
    amperes: Annotated[float, typer.Argument(metavar="AMPERES", help="Rating of the breaker, in amperes.")],
    continuous_a: Annotated[
        float, typer.Option("--continuous-a", help="Loads that are on for three hours or more, in amperes.")
    ] = 0.0,
    other_a: Annotated[float, typer.Option("--other-a", help="All other loads, in amperes.")] = 0.0,
    conductor: Annotated[str | None, typer.Option("--conductor", help='Size: "1.5 mm2", "14 AWG".')] = None,
    laying: Annotated[str | None, typer.Option("--laying", help="Way of laying of the tables, such as B2.")] = None,
    family: FamilyOption = None,
    site: MaybeSite = None,
    json: AsJson = False,
) -> None:
    """Tell whether a breaker carries what its circuit draws, and protects its conductor.

    Example: pattress circuit breaker 20 --continuous-a 16 --conductor "12 AWG" --family nec
    """
    from pattress.circuit import given
    from pattress.circuit.conductors import size_named
    from pattress.circuit.load import Draw, breaker_answer

    tables = tables_for(site, family)
    draws = [
        Draw(current_a=given.not_negative(each, "load", "A"), apparent_va=0.0, power_factor=1.0, is_continuous=is_long)
        for each, is_long in ((continuous_a, True), (other_a, False))
    ]
    size = None if conductor is None else size_named(conductor, tables)
    answer_with(breaker_answer(draws, amperes, tables, size=size, laying=laying), tables, json=json)


@circuit.command("dimmer")
def dimmer(
    watts: Watts,
    voltage: Volts,
    kind: KindOption = "led-lamp",
    count: Count = 1,
    power_factor: PowerFactor = None,
    rated_w: RatedWatts = None,
    minimum_w: Annotated[
        float | None, typer.Option("--minimum-w", help="Load that the dimmer needs, in watts.")
    ] = None,
    edge: Annotated[str | None, typer.Option("--edge", help="Edge that it cuts: leading or trailing.")] = None,
    asked_edge: Annotated[str | None, typer.Option("--asked-edge", help="Edge that the lamp's maker asks for.")] = None,
    module: ModuleOption = None,
    family: FamilyOption = None,
    site: MaybeSite = None,
    json: AsJson = False,
) -> None:
    """Tell whether a dimmer suits its lamps, and how many of them.

    Example: pattress circuit dimmer 9 --count 6 --voltage 230 --rated-w 200 --minimum-w 3 --edge trailing
    """
    from pattress.circuit.dimmer import dimmer_answer, edge_answer
    from pattress.circuit.working import joined
    from pattress.model.circuit import Load

    tables, sheet = tables_for(site, family), sheet_of(module, site)
    asked = Load(channel="dimmer.1", kind=load_kind(kind), power_w=watts, count=count, power_factor=power_factor)
    answers = [
        dimmer_answer(
            asked,
            voltage,
            tables,
            rated_power_w=_or(rated_w, sheet.rated_power_w),
            rated_current_a=sheet.rated_current_a,
            minimum_load_w=_or(minimum_w, sheet.minimum_load_w),
            maximum_lamps=sheet.maximum_lamps,
        )
    ]
    edges = sheet.dimmer_edges if edge is None else (_edge(edge),)
    if edges or asked_edge is not None:
        asks = _edge(asked_edge)
        each = [edge_answer(asked.kind, one, tables, asked=asks) for one in edges or (None,)]
        answers.append(next((one for one in each if one.verdict == "fits"), each[0]))
    answer_with(joined("dimmer", answers), tables, json=json)


circuit_place.add_to(circuit)
circuit_runs.add_to(circuit)


def _or(given: float | None, of_sheet: float | None) -> float | None:
    return of_sheet if given is None else given


def _edge(word: str | None) -> "EdgeOfDimming | None":
    from pattress.circuit import given
    from pattress.model.circuit import EDGES_OF_DIMMING

    return None if word is None else given.one_of(word, "edge", EDGES_OF_DIMMING)
