"""What a module is wired into, by the kind that stands at the point."""

import pytest

from pattress.model.circuit import Drive
from pattress.model.profile import ModuleClass, Profile
from pattress.site.files import TomlFile, parse_toml
from pattress.site.names import Known
from pattress.site.points_file import Ground, plan_of


def kind(module_class: ModuleClass, **channels: int) -> Profile:
    return Profile(id=module_class, maker="Quill", model="One", module_class=module_class, channels=channels)


KINDS = {
    profile.id: profile
    for profile in (
        kind("metered-relay", output=1, input=1),
        kind("dual-relay", output=2, input=2),
        kind("dimmer", output=1, input=2, dimmer=1),
        kind("led-controller", output=4, input=2, led=4),
        kind("shutter", output=2, input=2),
        kind("other", output=1, led=1),
    )
}
GROUND = Ground(kinds=Known(names=frozenset(KINDS)), profiles=KINDS)


def planned(kind: str, text: str) -> tuple[TomlFile, list[str]]:
    whole = f'[[point]]\nname = "here"\nroom = "Room"\nkind = "{kind}"\n[point.circuit]\nvoltage_v = 230\n{text}'
    file = parse_toml(whole.encode(), "points.toml")
    plan_of(file, GROUND)
    return file, [str(fault).split(": ", 2)[-1] for fault in file.faults]


@pytest.mark.parametrize(
    ("kind", "channel", "load"),
    [
        ("metered-relay", "output.1", "resistive"),
        ("dual-relay", "output.2", "socket"),
        ("dimmer", "dimmer.1", "led-lamp"),
        ("led-controller", "led.4", "led-strip"),
        ("shutter", "shutter", "motor"),
        ("other", "output.1", "electronic"),
        ("other", "led.1", "led-strip"),
    ],
)
def test_a_load_is_wired_to_the_channels_of_its_kind(kind: str, channel: str, load: str) -> None:
    _, faults = planned(kind, f'[[point.load]]\nchannel = "{channel}"\nkind = "{load}"\n')

    assert faults == []


@pytest.mark.parametrize(
    ("kind", "load", "fault"),
    [
        (
            "dimmer",
            'channel = "output.1"\nkind = "led-lamp"',
            'found text "output.1", expected a channel of dimmer: dimmer.1.',
        ),
        (
            "shutter",
            'channel = "output.1"\nkind = "motor"',
            'found text "output.1", expected a channel of shutter: shutter.',
        ),
        (
            "shutter",
            'channel = "shutter"\nkind = "socket"',
            'found text "socket" at shutter, expected kind motor at a shutter.',
        ),
        (
            "led-controller",
            'channel = "led.1"\nkind = "led-lamp"',
            'found text "led-lamp" at led.1, expected kind led-strip at an LED channel.',
        ),
        (
            "dimmer",
            'channel = "dimmer.1"\nkind = "led-lamp"\npotential_free = true',
            "found potential_free at dimmer.1, expected potential_free only for a load at an output: nothing else has "
            "a contact of its own.",
        ),
    ],
)
def test_a_load_that_cannot_be_at_the_kind_is_a_fault(kind: str, load: str, fault: str) -> None:
    _, faults = planned(kind, f"[[point.load]]\n{load}\n")

    assert faults == [fault]


def test_every_fault_of_a_point_is_told_at_once() -> None:
    text = (
        'dc = true\nneutral = true\n[[point.load]]\nchannel = "output.9"\nkind = "motor"\n[point.box]\nclamps = 1\n'
        '[[point.drive]]\ninput = 7\nchannel = "output.1"\npoint = "nowhere"\n'
    )

    file, _ = planned("metered-relay", text)

    assert [fault.place.removeprefix("point 1 'here', ") for fault in file.faults] == [
        "load 1, channel",
        "box",
        "circuit, neutral",
        "drive 1, input",
        "drive 1, point",
    ]


def test_the_own_point_in_a_drive_is_as_none() -> None:
    text = '[[point]]\nname = "a"\nroom = "b"\nkind = "dual-relay"\n[[point.drive]]\ninput = 1\nchannel = "output.2"\n'
    file = parse_toml(f'{text}point = "a"\n'.encode(), "points.toml")

    plan = plan_of(file, GROUND)

    assert (plan.points[0].drives, file.faults) == ((Drive(input=1, channel="output.2"),), [])


def test_a_channel_is_not_called_wrong_where_the_kind_is_unknown() -> None:
    file, faults = planned("no-such-kind", '[[point.load]]\nchannel = "output.9"\nkind = "motor"\n')

    assert len(faults) == 1
    assert file.faults[0].place == "point 1 'here', kind"
