"""Rules by which a planned module is judged against its circuit, and rules of the trade about the plan.

What belongs here: their words. What does not: judging by them (`fitness`), and the figures, which are tables.
"""

from collections.abc import Mapping

from pattress.model.rules import Rule, Severity
from pattress.policy.caution import CAUTION

_EXPECTED: dict[str, str] = {}


def _rule(
    name: str, severity: Severity, title: str, expected: str, *, because: str, fix: str, cites: tuple[str, ...]
) -> Rule:
    _EXPECTED[name] = expected
    return Rule(id=name, title=title, severity=severity, because=because, fix=fix, cites=cites)


FIT_SUPPLY = _rule(
    "fit-supply",
    "danger",
    "The circuit's voltage is one that the module takes",
    "within the module's supply range",
    because="A module at another voltage or another kind of current than it is made for burns, or never starts.",
    fix=f"Choose a kind for this supply (`pattress fit POINT --which`), or another supply for it. {CAUTION}",
    cites=("IEC 60038", "common practice"),
)
FIT_NEUTRAL = _rule(
    "fit-neutral",
    "fault",
    "The neutral that the module needs is in the box",
    "there, where the module needs one",
    because="Without it the module does not run, and somebody may be tempted to use the protective earth.",
    fix=f"Bring the neutral of the same circuit into the box, or choose a kind that needs none. {CAUTION}",
    cites=("NEC 404.2(C)", "common practice"),
)
FIT_CONTACT = _rule(
    "fit-contact",
    "danger",
    "The contact is free of potential where it must be",
    "free of potential where the load asks for it",
    because="A live contact puts mains on the control input of a gate, a boiler or a door, and on whoever touches it.",
    fix=f"Use a relay with an isolated contact, or an interposing relay. {CAUTION}",
    cites=("IEC 60364-4-41 section 414.4", "common practice"),
)
FIT_SEPARATION = _rule(
    "fit-separation",
    "danger",
    "Extra-low voltage and mains are kept apart",
    "kept apart, where both are in one box",
    because="One slipped core makes every wire of the extra-low voltage live.",
    fix="Give the extra-low voltage a box of its own, or keep the two apart in this one (by a barrier, by distance, or "
    f"by insulation for the highest voltage present) and plan how: `separation` of [point.circuit]. {CAUTION}",
    cites=("NEC 725.136", "IEC 60364-4-41 section 414.4", "IEC 60364-5-52 section 528.1"),
)
FIT_BREAKER = _rule(
    "fit-breaker",
    "danger",
    "Breaker and conductor carry what the point feeds",
    "within breaker and conductor",
    because="A conductor that its breaker does not protect overheats in the wall; a breaker too small trips.",
    fix=f"Spread the load over more circuits, or have conductor and breaker changed together. {CAUTION}",
    cites=("NEC 210.20(A)", "NEC 240.4(D)", "IEC 60364-4-43 section 433.1"),
)
FIT_RATING = _rule(
    "fit-rating",
    "danger",
    "The module may switch the load",
    "within what the module may switch",
    because="A contact that carries or closes on more than it is made for welds shut or overheats behind the plate.",
    fix=f"Choose a kind that is made for it, or let the module switch a contactor. {CAUTION}",
    cites=("IEC 60669-2-1", "common practice"),
)
FIT_TOTAL = _rule(
    "fit-total",
    "danger",
    "The module carries all of its channels together",
    "within what the module carries in all",
    because="The channels share one terminal and one housing: each may be within its own rating and the sum too much.",
    fix=f"Move one of the loads to another module. {CAUTION}",
    cites=("common practice",),
)
FIT_DIMMER_LOAD = _rule(
    "fit-dimmer-load",
    "fault",
    "The dimmer has neither too much nor too little load",
    "between what the dimmer needs and what it carries",
    because="Too little load flickers or never goes out; too much overheats the dimmer.",
    fix=f"Change the number or the power of the lamps, or the dimmer. {CAUTION}",
    cites=("IEC 60669-2-1", "NEC 404.14(E)", "common practice"),
)
FIT_DIMMER_EDGE = _rule(
    "fit-dimmer-edge",
    "fault",
    "The dimmer cuts the edge that the lamps stand",
    "the edge that the lamps stand",
    because="Electronic lamps on the wrong edge hum, flicker and die early; wound transformers burn.",
    fix="Choose lamps for this edge, or a dimmer that cuts the other.",
    cites=("IEC 60669-2-1", "common practice"),
)
FIT_LED_CURRENT = _rule(
    "fit-led-current",
    "fault",
    "Each LED channel carries its strip",
    "within what the channel carries",
    because="Dimming by pulses lowers the mean, not the peak: a channel carries the strip's full current.",
    fix="Shorten the strip, take one for a higher voltage, or spread it over more channels.",
    cites=("common practice",),
)
FIT_LED_SUPPLY = _rule(
    "fit-led-supply",
    "fault",
    "The supply has headroom for its strips",
    "enough, with headroom",
    because="A supply that always runs at its limit runs hot and ages early.",
    fix="Choose a larger supply, or less strip.",
    cites=("common practice",),
)
FIT_LED_DROP = _rule(
    "fit-led-drop",
    "advice",
    "The leads of the strip drop little",
    "within the drop that is allowed",
    because="The far strip is dimmer than the near one, and the leads warm.",
    fix="Use thicker or shorter leads, feed the strip at both ends, or take one for a higher voltage.",
    cites=("common practice",),
)
FIT_CLASS_2 = _rule(
    "fit-class-2",
    "advice",
    "The strip's supply is within class 2",
    "within class 2",
    because="Wiring beyond class 2 needs the protection of a power circuit.",
    fix="Use several listed class 2 supplies, or protect the wiring as the code asks.",
    cites=("NEC Chapter 9, Tables 11(A) and 11(B)",),
)
FIT_VOLTAGE_DROP = _rule(
    "fit-voltage-drop",
    "advice",
    "The circuit drops little voltage",
    "within the drop that is allowed",
    because="Lamps dim and motors start badly at the end of a run that is too long or too thin.",
    fix=f"Use thicker conductors or a shorter run, or move some of the load. {CAUTION}",
    cites=("BS 7671 Appendix 4", "NEC 210.19(A), informational note"),
)
FIT_BOX_ROOM = _rule(
    "fit-box-room",
    "fault",
    "The box has room for its conductors and the module",
    "within the box's volume",
    because="Pressed conductors are damaged, joints come loose, and the module cannot shed its heat.",
    fix=f"Use a deeper box or an extension, take conductors out, or choose a smaller kind. {CAUTION}",
    cites=("NEC 314.16(B)", "common practice"),
)
FIT_AMBIENT = _rule(
    "fit-ambient",
    "fault",
    "The room gets no warmer than the module stands",
    "at most the module's highest temperature",
    because="In summer a closed box is warmer still than its room; the module shuts down or ages early.",
    fix="Choose a kind for warmer surroundings, or another place for it.",
    cites=("IEC 60669-2-1", "common practice"),
)
HAZARD_STAYS_OFF = _rule(
    "hazard-stays-off",
    "danger",
    "What must not come on by itself stays off after a power cut",
    '"off"',
    because="Nobody stands beside a heater, a pump or a door when the power returns.",
    fix='Plan `output.N.at_power_up = "off"` for it in points.toml, and set the module so.',
    cites=("common practice",),
)
SWITCH_HAS_RELAY = _rule(
    "switch-has-relay",
    "fault",
    "What a reporting switch drives is wired through a relay",
    "wired through an output of the plan",
    because="A lamp that no relay feeds cannot be switched off when the network is down, nor made safe to touch.",
    fix=f"Wire the lamp's circuit through an output, and plan it there as a `[[point.load]]`. {CAUTION}",
    cites=("common practice",),
)
ROOM_KEEPS_LIGHT = _rule(
    "room-keeps-light",
    "fault",
    "A wall switch of the room switches a light in it",
    "switched by a wall switch",
    because="Whoever enters a dark room finds the light by a switch at the wall.",
    fix="Plan which light that is (`lighting_outlet = true`), and the switch that drives it.",
    cites=("NEC 210.70(A)", "common practice"),
)

FIT_RULES = (
    FIT_SUPPLY,
    FIT_NEUTRAL,
    FIT_CONTACT,
    FIT_SEPARATION,
    FIT_BREAKER,
    FIT_RATING,
    FIT_TOTAL,
    FIT_DIMMER_LOAD,
    FIT_DIMMER_EDGE,
    FIT_LED_CURRENT,
    FIT_LED_SUPPLY,
    FIT_LED_DROP,
    FIT_CLASS_2,
    FIT_VOLTAGE_DROP,
    FIT_BOX_ROOM,
    FIT_AMBIENT,
    HAZARD_STAYS_OFF,
    SWITCH_HAS_RELAY,
    ROOM_KEEPS_LIGHT,
)
RULES_OF_KINDS = frozenset(
    rule.id
    for rule in (
        FIT_SUPPLY,
        FIT_NEUTRAL,
        FIT_CONTACT,
        FIT_RATING,
        FIT_TOTAL,
        FIT_DIMMER_LOAD,
        FIT_DIMMER_EDGE,
        FIT_LED_CURRENT,
        FIT_BOX_ROOM,
        FIT_AMBIENT,
    )
)
"""Those that another kind of module may meet or break; the rest are about the place and the plan alone."""
EXPECTED: Mapping[str, str] = _EXPECTED
"""What each rule asks for, in the words of "it must be", by the rule's id."""
