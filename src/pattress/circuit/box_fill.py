"""Whether a box has room for its conductors, its fittings and the module behind the plate.

What belongs here: counting by NEC 314.16(B). What does not: depth and width, which only the hand with the module in it
can tell.
"""

from pattress.circuit import given
from pattress.circuit.conductors import size_of
from pattress.circuit.working import DERIVED, PLAN, Answer, Line, is_within, shown, step
from pattress.model.circuit import Box, Conductors
from pattress.model.errors import CircuitError
from pattress.model.tables import ConductorSize, Tables

CM3_PER_IN3 = 16.387064  # exact: 2.54 cm cubed
PROJECT_RULE = "project rule: the code has no entry for a module without a yoke, so its own volume counts"
SHAPE = "A volume says nothing of depth: try the module and its wires in the box before they are connected."
MOST_PIECES = 200  # of one sort in one box; a box that holds more is a cabinet


def box_answer(box: Box, tables: Tables) -> Answer:
    """Return whether all that a box holds is within its volume.

    Conductors count one each, all internal clamps together one, each fitting one, each yoke two, grounds together one
    and a quarter for each above four; clamps and fittings by the largest conductor, yokes and grounds by the largest
    there is of them. A module without a yoke counts its own volume. `undecided` where no conductor is named, or the
    tables have no room for one of some size: the IEC family knows no such rule. Values: `volume_cm3`, `needed_cm3`,
    `free_cm3`, `counted` (conductors), `module_cm3`.

    Raises:
        CircuitError: If a number cannot be, or a size is not in the tables.

    Source: NEC 314.16(B)(1) to (5); the module by a rule of this project.
    """
    given.positive(box.volume_cm3, "volume of the box", "cm³")
    module = given.not_negative(box.module_cm3 or 0.0, "volume of the module", "cm³")
    groups = [(size_of(group, tables), group) for group in box.conductors]
    _check_counts(box)
    cautions = [SHAPE]
    if box.module_cm3 is None:
        cautions.append("The volume of the module was not said, so it was not counted.")
    unknown = [size.name for size, _ in groups if size.box_cm3 is None]
    if unknown or not any(group.count or group.grounds for _, group in groups):
        return _undecided(box, module, unknown, tables, cautions)
    lines, counted, needed = _counted(box, groups, tables)
    if box.module_cm3 is not None:
        lines.append(step("the module", "V module", f"{shown(module)} cm³", module, "cm³", PROJECT_RULE))
    needed += module
    is_enough = is_within(needed, box.volume_cm3)
    numbers = f"{_both(needed)} ≤ {_both(box.volume_cm3)}"
    lines.append(step("judged", "Σ V ≤ V box", numbers, box.volume_cm3, "cm³", DERIVED))
    free = box.volume_cm3 - needed
    room = f"{_both(free)} are free" if is_enough else f"{_both(-free)} are missing"
    return Answer(
        question="box",
        verdict="fits" if is_enough else "unfit",
        sentence=f"The box needs {_both(needed)} of its {_both(box.volume_cm3)}; {room}.",
        values={
            "volume_cm3": box.volume_cm3,
            "needed_cm3": needed,
            "free_cm3": free,
            "counted": counted,
            "module_cm3": module,
        },
        lines=tuple(lines),
        cautions=tuple(cautions),
    )


def _counted(
    box: Box, groups: list[tuple[ConductorSize, Conductors]], tables: Tables
) -> tuple[list[Line], float, float]:
    """The lines of the working, how many conductors it all counts as, and their volume in cubic centimetres."""
    entries: list[tuple[str, float, float, str, str]] = []
    for size, group in groups:
        if group.count:
            entries.append((f"conductors {size.name}", group.count, _room(size), size.name, _source(size)))
    largest = max((size for size, _ in groups), key=_room, default=None)
    if largest is not None:
        room, source = _room(largest), _source(largest)
        if box.clamps:
            entries.append(("internal clamps, all together", 1, room, largest.name, f"{source}; 314.16(B)(2)"))
        if box.fittings:
            entries.append(("fittings", box.fittings, room, largest.name, f"{source}; 314.16(B)(3)"))
        if box.yokes:
            each = tables.figure("box_yoke_count")
            entries.append(("yokes", box.yokes * each.value, room, largest.name, each.source))
    grounds = sum(group.grounds for _, group in groups)
    if grounds:
        size = max((size for size, group in groups if group.grounds), key=_room)
        free, more = tables.figure("box_grounds_free"), tables.figure("box_ground_share")
        count = 1 + max(0.0, grounds - free.value) * more.value
        entries.append((f"grounds, {grounds} together", count, _room(size), size.name, more.source))
    lines = [
        step(what, "n · V", f"{shown(count)} · {_both(room)} ({name})", count * room, "cm³", source)
        for what, count, room, name, source in entries
    ]
    counted = sum(count for _, count, _, _, _ in entries)
    return lines, counted, sum(count * room for _, count, room, _, _ in entries)


def _undecided(box: Box, module: float, unknown: list[str], tables: Tables, cautions: list[str]) -> Answer:
    free = box.volume_cm3 - module
    values = {"volume_cm3": box.volume_cm3, "module_cm3": module, "free_cm3": free}
    numbers = f"{shown(box.volume_cm3)} cm³ - {shown(module)} cm³"
    line = step("left beside the module", "V box - V module", numbers, free, "cm³", PLAN)
    if free <= 0:
        sentence = f"The module alone, {shown(module)} cm³, fills the box of {shown(box.volume_cm3)} cm³."
        return Answer(question="box", verdict="unfit", sentence=sentence, values=values, lines=(line,))
    if unknown:
        names = ", ".join(dict.fromkeys(unknown))
        why = f"{tables.title} does not say how much room {names} takes in a box (box_cm3 in tables.toml may)"
    elif box.clamps or box.yokes or box.fittings:
        why = "clamps, yokes and fittings count by the largest conductor, and none was named"
    else:
        why = "no conductor was named, and no module stands in a box without any"
    return Answer(
        question="box",
        verdict="undecided",
        sentence=f"Not judged: {why}. Beside the module {shown(free)} cm³ are left.",
        values=values,
        lines=(line,),
        cautions=tuple(cautions),
    )


def _check_counts(box: Box) -> None:
    pieces = [("clamps", box.clamps), ("yokes", box.yokes), ("fittings", box.fittings)]
    for group in box.conductors:
        pieces += [("conductors", group.count), ("grounds", group.grounds)]
    for name, count in pieces:
        given.whole(count, name, least=0, most=MOST_PIECES)
    if not box.conductors and box.module_cm3 is None and not (box.clamps or box.yokes or box.fittings):
        raise CircuitError("nothing is in the box", where="box", next_step="Name its conductors, or the module.")


def _room(size: ConductorSize) -> float:
    return size.box_cm3.value if size.box_cm3 is not None else 0.0


def _source(size: ConductorSize) -> str:
    return size.box_cm3.source if size.box_cm3 is not None else ""


def _both(cm3: float) -> str:
    return f"{shown(cm3)} cm³ ({cm3 / CM3_PER_IN3:.2f} in³)"
