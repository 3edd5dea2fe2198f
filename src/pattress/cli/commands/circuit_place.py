"""`pattress circuit`: questions about a module's place (supply, isolation, channels, box), and the tables."""

from typing import TYPE_CHECKING, Annotated

import typer

from pattress.cli.circuit_options import (
    FamilyOption,
    IsDc,
    MaybeSite,
    ModuleOption,
    RatedAmperes,
    RatedWatts,
    Volts,
    answer_with,
    printable,
    sheet_of,
    tables_for,
)
from pattress.cli.options import AsJson
from pattress.cli.output import give, give_json, style

if TYPE_CHECKING:
    from pattress.model.circuit import Conductors
    from pattress.model.tables import Tables


def add_to(circuit: typer.Typer) -> None:
    """Add these questions to the group."""
    circuit.command("supply")(supply)
    circuit.command("isolation")(isolation)
    circuit.command("channels")(channels)
    circuit.command("box")(box)
    circuit.command("tables")(tables)


def supply(
    voltage: Volts,
    dc: IsDc = False,
    ac_range: Annotated[str | None, typer.Option("--ac-range", help="AC supply of the module: 110-260.")] = None,
    dc_range: Annotated[str | None, typer.Option("--dc-range", help="DC supply of the module: 12-48.")] = None,
    needs_neutral: Annotated[
        bool | None, typer.Option("--needs-neutral/--needs-no-neutral", help="Whether the module needs a neutral.")
    ] = None,
    neutral: Annotated[
        bool | None, typer.Option("--neutral/--no-neutral", help="Whether a neutral is in the box.")
    ] = None,
    module: ModuleOption = None,
    family: FamilyOption = None,
    site: MaybeSite = None,
    json: AsJson = False,
) -> None:
    """Tell whether a module can be fed from a circuit: voltage, and the neutral where it needs one.

    Example: pattress circuit supply --voltage 230 --ac-range 110-260 --needs-neutral --neutral
    """
    from pattress.circuit.supply import neutral_answer, supply_answer
    from pattress.circuit.working import joined

    counted, sheet = tables_for(site, family), sheet_of(module, site)
    answers = [
        supply_answer(
            voltage,
            counted,
            is_dc=dc,
            supply_ac_v=_span(ac_range, "--ac-range") or sheet.supply_ac_v,
            supply_dc_v=_span(dc_range, "--dc-range") or sheet.supply_dc_v,
            led_supply_v=sheet.led_supply_v if dc_range is None else (),
        )
    ]
    needs = sheet.needs_neutral if needs_neutral is None else needs_neutral
    if not dc and (needs is not None or neutral is not None):
        answers.append(neutral_answer(needs, neutral))
    answer_with(joined("supply", answers), counted, json=json)


def isolation(
    voltage: Volts,
    dc: IsDc = False,
    potential_free: Annotated[
        bool, typer.Option("--potential-free", help="The load wants a contact free of potential: a gate, a boiler.")
    ] = False,
    extra_low: Annotated[bool, typer.Option("--extra-low", help="The load is at extra-low voltage: a bell.")] = False,
    isolated: Annotated[
        bool | None, typer.Option("--isolated/--not-isolated", help="Whether the contact is isolated from the supply.")
    ] = None,
    separation: Annotated[
        str | None,
        typer.Option(
            "--separation",
            help="What keeps extra-low voltage and mains in one box apart: barrier, distance, insulation or none.",
        ),
    ] = None,
    module: ModuleOption = None,
    family: FamilyOption = None,
    site: MaybeSite = None,
    json: AsJson = False,
) -> None:
    """Tell whether a module's contact suits what it switches, and whether mains is kept from extra-low voltage.

    Example: pattress circuit isolation --voltage 230 --potential-free --isolated
    """
    from pattress.circuit import given
    from pattress.circuit.supply import contact_answer, separation_answer
    from pattress.circuit.working import joined
    from pattress.model.circuit import SEPARATIONS, Load

    kept_apart = None if separation is None else given.one_of(separation, "separation", SEPARATIONS)
    counted, sheet = tables_for(site, family), sheet_of(module, site)
    asked = Load(
        channel="output.1",
        kind="electronic",
        name="the load",
        is_potential_free=potential_free,
        is_extra_low_voltage=extra_low,
    )
    answers = [
        contact_answer(asked, sheet.has_isolated_contact if isolated is None else isolated),
        separation_answer([asked], voltage, counted, is_dc=dc, separation=kept_apart),
    ]
    answer_with(joined("isolation", answers), counted, json=json)


def channels(
    amperes: Annotated[list[float], typer.Argument(metavar="AMPERES...", help="Of each channel, in amperes.")],
    voltage: Volts,
    rated_a: RatedAmperes = None,
    rated_w: RatedWatts = None,
    total_a: Annotated[float | None, typer.Option("--total-a", help="Rating of the whole module, in amperes.")] = None,
    breaker_a: Annotated[float | None, typer.Option("--breaker-a", help="Rating of the breaker, in amperes.")] = None,
    module: ModuleOption = None,
    family: FamilyOption = None,
    site: MaybeSite = None,
    json: AsJson = False,
) -> None:
    """Tell whether a module with several channels carries the current of each, and all together.

    Example: pattress circuit channels 8 6 --voltage 230 --rated-a 10 --breaker-a 16
    """
    from pattress.circuit.supply import channels_answer

    sheet = sheet_of(module, site)
    answer = channels_answer(
        {f"output.{number}": each for number, each in enumerate(amperes, start=1)},
        voltage,
        rated_current_a=sheet.rated_current_a if rated_a is None else rated_a,
        rated_power_w=sheet.rated_power_w if rated_w is None else rated_w,
        total_rated_a=sheet.total_current_a if total_a is None else total_a,
        breaker_a=breaker_a,
    )
    answer_with(answer, tables_for(site, family), json=json)


def box(
    volume_cm3: Annotated[float | None, typer.Option("--volume-cm3", help="Of the box, in cubic centimetres.")] = None,
    volume_in3: Annotated[float | None, typer.Option("--volume-in3", help="Of the box, in cubic inches.")] = None,
    conductors: Annotated[
        list[str] | None, typer.Option("--conductors", help='How many of which size: "12 AWG:4". May be repeated.')
    ] = None,
    grounds: Annotated[
        list[str] | None, typer.Option("--grounds", help='Grounds, likewise: "12 AWG:2". May be repeated.')
    ] = None,
    clamps: Annotated[int, typer.Option("--clamps", help="Internal cable clamps.")] = 0,
    yokes: Annotated[int, typer.Option("--yokes", help="Switches and sockets on a strap.")] = 0,
    fittings: Annotated[int, typer.Option("--fittings", help="Supports such as hickeys.")] = 0,
    module_cm3: Annotated[float | None, typer.Option("--module-cm3", help="Volume of the module itself.")] = None,
    family: FamilyOption = None,
    site: MaybeSite = None,
    json: AsJson = False,
) -> None:
    """Tell whether a box has room for its conductors, its fittings and the module.

    Example: pattress circuit box --family nec --volume-in3 18 --conductors "12 AWG:4" --grounds "12 AWG:2" --yokes 1
    """
    from pattress.circuit.box_fill import CM3_PER_IN3, box_answer
    from pattress.model.circuit import Box
    from pattress.model.errors import CircuitError

    counted = tables_for(site, family)
    if (volume_cm3 is None) == (volume_in3 is None):
        raise CircuitError("not exactly one volume", where="box", next_step="Give either --volume-cm3 or --volume-in3.")
    asked = Box(
        volume_cm3=volume_cm3 if volume_cm3 is not None else (volume_in3 or 0.0) * CM3_PER_IN3,
        conductors=(
            *(_pieces(each, counted, grounds=False) for each in conductors or ()),
            *(_pieces(each, counted, grounds=True) for each in grounds or ()),
        ),
        clamps=clamps,
        yokes=yokes,
        fittings=fittings,
        module_cm3=module_cm3,
    )
    answer_with(box_answer(asked, counted), counted, json=json)


def tables(family: FamilyOption = None, site: MaybeSite = None, json: AsJson = False) -> None:
    """List every figure that the questions rest on, each with its source.

    Example: pattress circuit tables --family nec
    """
    from pattress.report.circuit import tables_document, tables_text

    counted = tables_for(site, family)
    if json:
        give_json(tables_document(counted))
    else:
        give(printable(tables_text(counted, style())))


def _span(text: str | None, option: str) -> tuple[float, float] | None:
    from pattress.model.errors import CircuitError

    if text is None:
        return None
    lowest, _, highest = text.partition("-")
    try:
        return float(lowest), float(highest)
    except ValueError as error:
        raise CircuitError(
            f"{text!r} is no range", where=option, next_step="Write the lowest and the highest volts: 110-260."
        ) from error


def _pieces(text: str, counted: "Tables", *, grounds: bool) -> "Conductors":
    from pattress.circuit.conductors import size_named
    from pattress.model.circuit import Conductors
    from pattress.model.errors import CircuitError

    name, colon, number = text.rpartition(":")
    if not colon or not number.strip().isdecimal() or len(number) > 6:
        raise CircuitError(
            f"{text!r} does not say how many", where="conductors", next_step='Write size and number: "12 AWG:4".'
        )
    size, pieces = size_named(name, counted), int(number)
    area = size.area_mm2 if size.awg is None else None
    return Conductors(awg=size.awg, mm2=area, count=0 if grounds else pieces, grounds=pieces if grounds else 0)
