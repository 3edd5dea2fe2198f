"""`pattress circuit`: questions about conductors, voltage drop and LED strips."""

from typing import TYPE_CHECKING, Annotated

import typer

from pattress.cli.circuit_options import (
    Celsius,
    Conductor,
    ConstructionOption,
    FamilyOption,
    MaybeSite,
    Volts,
    answer_with,
    tables_for,
)
from pattress.cli.options import AsJson

if TYPE_CHECKING:
    from pattress.circuit.voltage_drop import Spread, Use
    from pattress.model.tables import Construction

Amperes = Annotated[float, typer.Argument(metavar="AMPERES", help="Current of the run, in amperes.")]
UseOption = Annotated[str, typer.Option("--use", help="Which limit counts: lighting or other.")]
Phases = Annotated[int, typer.Option("--phases", help="1 or 3.")]
Allowed = Annotated[
    float | None, typer.Option("--allowed", help="Largest drop as a share, such as 0.03; of the tables if not given.")
]
SpreadOption = Annotated[
    str, typer.Option("--spread", help="Where the current is drawn: end, even, or even-both-ends (fed at both).")
]


def add_to(circuit: typer.Typer) -> None:
    """Add these questions to the group."""
    circuit.command("conductor")(conductor)
    circuit.command("drop")(drop)
    circuit.command("run")(run)
    circuit.command("strip")(strip)
    circuit.command("class2")(class2)


def conductor(
    size: Annotated[str, typer.Argument(metavar="SIZE", help='"1.5 mm2" or "14 AWG".')],
    temperature: Celsius = None,
    construction: ConstructionOption = "solid",
    family: FamilyOption = None,
    site: MaybeSite = None,
    json: AsJson = False,
) -> None:
    """Tell a conductor's area, its resistance, and what the tables say that it carries.

    Example: pattress circuit conductor "14 AWG" --family nec
    """
    from pattress.circuit.conductors import conductor_answer, size_named

    tables = tables_for(site, family)
    at_c = tables.value("conductor_c") if temperature is None else temperature
    answer = conductor_answer(size_named(size, tables), tables, temperature_c=at_c, construction=_made(construction))
    answer_with(answer, tables, json=json)


def drop(
    amperes: Amperes,
    length: Annotated[float, typer.Option("--length", help="One way, in metres.")],
    conductor: Conductor,
    voltage: Volts,
    use: UseOption = "lighting",
    phases: Phases = 1,
    temperature: Celsius = None,
    construction: ConstructionOption = "solid",
    spread: SpreadOption = "end",
    allowed: Allowed = None,
    family: FamilyOption = None,
    site: MaybeSite = None,
    json: AsJson = False,
) -> None:
    """Tell how many volts a run loses, and whether it may.

    Example: pattress circuit drop 16 --length 18 --conductor "2.5 mm2" --voltage 230 --use other
    """
    from pattress.circuit.conductors import size_named
    from pattress.circuit.voltage_drop import drop_answer

    tables = tables_for(site, family)
    answer = drop_answer(
        amperes,
        length,
        size_named(conductor, tables),
        voltage,
        tables,
        use=_use(use),
        phases=phases,
        temperature_c=temperature,
        construction=_made(construction),
        spread=_spread(spread),
        allowed=allowed,
    )
    answer_with(answer, tables, json=json)


def run(
    amperes: Amperes,
    conductor: Conductor,
    voltage: Volts,
    use: UseOption = "lighting",
    phases: Phases = 1,
    temperature: Celsius = None,
    construction: ConstructionOption = "solid",
    spread: SpreadOption = "end",
    allowed: Allowed = None,
    family: FamilyOption = None,
    site: MaybeSite = None,
    json: AsJson = False,
) -> None:
    """Tell how long a run may be for the drop that is allowed.

    Example: pattress circuit run 12 --conductor "14 AWG" --voltage 120 --family nec
    """
    from pattress.circuit.conductors import size_named
    from pattress.circuit.voltage_drop import run_answer

    tables = tables_for(site, family)
    answer = run_answer(
        amperes,
        size_named(conductor, tables),
        voltage,
        tables,
        use=_use(use),
        phases=phases,
        temperature_c=temperature,
        construction=_made(construction),
        spread=_spread(spread),
        allowed=allowed,
    )
    answer_with(answer, tables, json=json)


def strip(
    watts_per_metre: Annotated[float, typer.Argument(metavar="W_PER_M", help="Of the strip, all colours on.")],
    length: Annotated[float, typer.Option("--length", help="Of the strip, in metres.")],
    voltage: Volts = 24.0,
    channels: Annotated[int, typer.Option("--channels", help="PWM channels that share it.")] = 1,
    channel_a: Annotated[float | None, typer.Option("--channel-a", help="Rating of one channel, in amperes.")] = None,
    total_a: Annotated[float | None, typer.Option("--total-a", help="Rating of the controller, in amperes.")] = None,
    supply_w: Annotated[float | None, typer.Option("--supply-w", help="Power of its supply, in watts.")] = None,
    lead_mm2: Annotated[float | None, typer.Option("--lead-mm2", help="Area of each lead, in mm2.")] = None,
    lead_m: Annotated[float, typer.Option("--lead-m", help="Length of the leads, one way, in metres.")] = 0.0,
    rail_ohm_per_m: Annotated[
        float | None, typer.Option("--rail-ohm-per-m", help="Of one of the strip's two rails.")
    ] = None,
    both_ends: Annotated[bool, typer.Option("--both-ends", help="Fed at both ends.")] = False,
    temperature: Annotated[float, typer.Option("--temperature", help="Of the leads, in degrees Celsius.")] = 20.0,
    allowed: Allowed = None,
    family: FamilyOption = None,
    site: MaybeSite = None,
    json: AsJson = False,
) -> None:
    """Tell what an LED strip draws, whether controller and supply carry it, and what leads and strip drop.

    Example: pattress circuit strip 14.4 --length 5 --voltage 24 --channel-a 4 --supply-w 100 --lead-mm2 0.75 --lead-m 3
    """
    from pattress.circuit.led import strip_answer, strip_drop_answer, supply_size_answer
    from pattress.circuit.working import joined

    tables = tables_for(site, family)
    drawn = strip_answer(
        watts_per_metre, length, voltage, channels=channels, rated_channel_a=channel_a, rated_total_a=total_a
    )
    answers = [drawn, supply_size_answer(drawn.values["strip_w"], tables, supply_w=supply_w)]
    if lead_mm2 is not None or lead_m > 0 or rail_ohm_per_m is not None:
        answers.append(
            strip_drop_answer(
                drawn.values["total_a"],
                voltage,
                tables,
                lead_mm2=lead_mm2,
                lead_m=lead_m,
                strip_m=length,
                strip_ohm_per_m=rail_ohm_per_m,
                both_ends=both_ends,
                temperature_c=temperature,
                allowed=allowed,
            )
        )
    answer_with(joined("strip", answers), tables, json=json)


def class2(
    watts: Annotated[float, typer.Argument(metavar="WATTS", help="What the supply can deliver, in watts.")],
    voltage: Volts,
    family: FamilyOption = None,
    site: MaybeSite = None,
    json: AsJson = False,
) -> None:
    """Tell whether an extra-low voltage supply stays within class 2.

    Example: pattress circuit class2 96 --voltage 24
    """
    from pattress.circuit.led import class2_answer

    tables = tables_for(site, family)
    answer_with(class2_answer(watts, voltage, tables), tables, json=json)


def _use(word: str) -> "Use":
    from pattress.circuit import given
    from pattress.circuit.voltage_drop import USES

    return given.one_of(word, "use", USES)


def _spread(word: str) -> "Spread":
    from pattress.circuit import given
    from pattress.circuit.voltage_drop import SPREADS

    return given.one_of(word, "spread", SPREADS)


def _made(word: str) -> "Construction":
    from pattress.circuit import given
    from pattress.model.tables import CONSTRUCTIONS

    return given.one_of(word, "construction", CONSTRUCTIONS)
