from pattress.lab.agenda import Agenda


def test_what_is_due_comes_in_the_order_of_its_moments() -> None:
    agenda = Agenda()
    said: list[str] = []
    agenda.put("late", 20, lambda: said.append("late"))
    agenda.put("early", 10, lambda: said.append("early"))

    while happen := agenda.take(30):
        happen()

    assert said == ["early", "late"]


def test_nothing_is_taken_before_its_moment() -> None:
    agenda = Agenda()
    agenda.put("one", 10, lambda: None)

    assert agenda.next_s == 10
    assert agenda.take(9.99) is None
    assert agenda.take(10) is not None
    assert agenda.next_s is None


def test_a_thing_takes_the_place_of_the_one_of_its_name_and_can_be_dropped() -> None:
    agenda = Agenda()
    for name, at_s in [("one", 10), ("one", 30), ("two", 5), ("own 1", 40)]:
        agenda.put(name, at_s, lambda: None)

    agenda.drop("two")
    first_s = agenda.next_s
    agenda.keep_only("own ")

    assert (first_s, agenda.next_s) == (30, 40)
