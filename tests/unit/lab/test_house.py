from pattress.lab.ground import MILL_GROUND, NARROW_GROUND
from pattress.lab.house import Circumstances, Endpoint, LabModule, Twist, state_of


def module() -> LabModule:
    truth = {
        "mac": "00:00:5e:00:53:0b",
        "firmware.version": "2.4",
        "net.rssi_dbm": -50,
        "output.1.on": True,
        "output.1.contact": "live",
        "output.1.at_power_up": "off",
        "output.10.at_power_up": "on",
        "output.2.at_power_up": "as-before",
        "input.1.contact": "momentary",
        "input.1.action": "reports",
        "input.1.inverted": False,
        "input.1.closed": True,
        "output.1.off_after_s": 120,
        "output.2.off_after_s": 0,
        "meter.1.voltage_v": 231.4,
        "meter.1.power_w": 12.0,
        "dimmer.1.edge": "trailing",
        "mqtt.tls": False,
        "mqtt.enabled": True,
    }
    return LabModule(
        number=11,
        kind="maker-model-two",
        serial="S1",
        mac="00:00:5e:00:53:0b",
        truth=truth,
        planned_firmware="2.0",
        point="hall",
        room="Hall",
    )


def test_the_plan_holds_what_a_person_chose_and_the_voltage_of_the_mains() -> None:
    plan = module().plan

    assert plan == {
        "firmware.version": "2.0",
        "output.1.at_power_up": "off",
        "output.2.at_power_up": "as-before",
        "output.10.at_power_up": "on",
        "input.1.contact": "momentary",
        "input.1.action": "reports",
        "input.1.inverted": False,
        "output.1.off_after_s": 120,
        "meter.1.voltage_v": 230,
        "dimmer.1.edge": "trailing",
        "mqtt.tls": False,
    }


def test_the_channels_of_a_state_come_in_the_order_of_their_numbers() -> None:
    outputs = state_of(module()).channels("output")

    assert [output["at_power_up"] for output in outputs] == ["off", "as-before", "on"]


def test_a_later_twist_wins_over_an_earlier_one_and_the_module_stays_as_it_was() -> None:
    healthy = module()
    twists = (Twist(truth={"net.rssi_dbm": -80}), Twist(truth={"net.rssi_dbm": -90}, is_silent=True))

    state = state_of(healthy, twists)

    assert state.truth == healthy.truth | {"net.rssi_dbm": -90}
    assert state.is_silent
    assert healthy.truth["net.rssi_dbm"] == -50


def test_an_absent_module_is_not_present_whatever_else_is_wrong() -> None:
    state = state_of(module(), (Twist(is_absent=True), Twist(is_silent=True)))

    assert not state.is_present


def test_the_maker_is_the_first_word_of_the_kind() -> None:
    maker = module().maker

    assert maker == "maker"


def test_a_narrow_ground_has_one_address_for_all() -> None:
    where = [Circumstances(ground=ground, broker=Endpoint("", 1)) for ground in (MILL_GROUND, NARROW_GROUND)]

    addresses = [[one.ground.address(number) for number in (11, 12)] for one in where]

    assert addresses == [["127.77.0.11", "127.77.0.12"], ["127.0.0.1", "127.0.0.1"]]
