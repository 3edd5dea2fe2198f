from pattress.lab.wall_switches import WallSwitches


def test_a_switch_closes_the_input_of_its_number() -> None:
    switches = WallSwitches({1: False, 2: False})

    has_changed = switches.set(1, True)

    assert has_changed
    assert (switches.is_closed(1), switches.is_closed(2)) == (True, False)
    assert not switches.set(1, True)


def test_exchanged_wires_close_one_another_s_inputs() -> None:
    switches = WallSwitches({1: False, 2: False})

    switches.exchange(1, 2)
    switches.set(1, True)

    assert (switches.is_closed(1), switches.is_closed(2)) == (False, True)
    assert switches.input_of(1) == 2


def test_an_inverted_switch_is_closed_at_rest_and_opens_when_pressed() -> None:
    switches = WallSwitches({1: False})

    switches.invert(1)
    at_rest = switches.is_closed(1)
    switches.set(1, True)

    assert (at_rest, switches.is_closed(1), switches.is_pressed(1)) == (True, False, True)
