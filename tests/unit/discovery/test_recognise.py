"""Recognition of a kind by its DNS-SD announcement."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pattress.discovery.recognise import Recognised, Service, recognise
from pattress.model.profile import MdnsRecognition, Profile


def profile(id: str, *recognitions: MdnsRecognition) -> Profile:
    return Profile(id=id, maker="Quill", model="Q", module_class="other", recognise_mdns=recognitions)


def service(instance: str = "Quill-51", **txt: bytes | None) -> Service:
    return Service(service_type="_quill._tcp", instance=instance, txt=txt)


def quill(**more: object) -> MdnsRecognition:
    return MdnsRecognition(service_type="_quill._tcp", **more)  # type: ignore[arg-type]


def test_a_service_of_another_type_fits_no_kind() -> None:
    profiles = [profile("quill", MdnsRecognition(service_type="_feather._tcp"))]

    assert recognise(profiles, service()) is None


def test_the_identity_is_taken_from_the_keys_that_the_profile_names() -> None:
    profiles = [profile("quill", quill(mac_key="ID", serial_key="sn"))]

    found = recognise(profiles, service(id=b"02005E005301", sn=b"Q-7"))

    assert found == Recognised(kind="quill", mac="02:00:5e:00:53:01", serial="Q-7")


@pytest.mark.parametrize("value", [None, b"", b"not a mac", b"\xff\xfe", b"02005e0053"])
def test_a_mac_that_is_none_is_left_out(value: bytes | None) -> None:
    profiles = [profile("quill", quill(mac_key="id"))]

    assert recognise(profiles, service(id=value)) == Recognised(kind="quill")


@pytest.mark.parametrize("value", [None, b"", b"\xff\xfe"])
def test_a_serial_that_is_no_text_is_left_out(value: bytes | None) -> None:
    profiles = [profile("quill", quill(serial_key="sn"))]

    assert recognise(profiles, service(sn=value)) == Recognised(kind="quill")


@pytest.mark.parametrize(
    ("pattern", "instance", "fits"),
    [
        ("Quill-*", "Quill-51", True),
        ("quill-*", "QUILL-51", True),  # RFC 6762 section 16: names are compared without case
        ("Quill-??", "Quill-51", True),
        ("Quill-?", "Quill-51", False),
        ("Quill-[0-9]*", "Quill-51", False),  # a bracket is a bracket
        ("Quill-[x]", "Quill-[x]", True),
        ("Quill.*", "Quill-51", False),
    ],
)
def test_an_instance_pattern_knows_stars_and_question_marks_only(pattern: str, instance: str, fits: bool) -> None:
    profiles = [profile("quill", quill(instance=pattern))]

    assert (recognise(profiles, service(instance)) is not None) == fits


@pytest.mark.parametrize(
    ("pattern", "value", "fits"),
    [
        ("D2", b"D2", True),
        ("D2", b"d2", False),
        ("D*", b"D2", True),
        ("*", None, True),
        ("*", b"\xff", False),
        ("D2", None, False),
    ],
)
def test_every_txt_pattern_must_fit(pattern: str, value: bytes | None, fits: bool) -> None:
    profiles = [profile("quill", quill(txt={"Kind": pattern, "on": "1"}))]

    assert (recognise(profiles, service(kind=value, on=b"1")) is not None) == fits


def test_a_key_that_is_absent_does_not_fit() -> None:
    profiles = [profile("quill", quill(txt={"kind": "*"}))]

    assert recognise(profiles, service()) is None


def test_the_profile_with_most_conditions_wins() -> None:
    profiles = [
        profile("a-any", quill()),
        profile("b-two", quill(instance="Quill-*", txt={"kind": "D2"}, serial_key="sn")),
        profile("c-one", quill(txt={"kind": "D2"})),
    ]

    assert recognise(profiles, service(kind=b"D2", sn=b"7")) == Recognised(kind="b-two", serial="7")


def test_of_equals_the_first_by_id_wins_whatever_the_order() -> None:
    profiles = [profile("b", quill()), profile("a", quill()), profile("c", quill())]

    found = [recognise(order, service()) for order in (profiles, profiles[::-1])]

    assert found == [Recognised(kind="a"), Recognised(kind="a")]


@given(st.text(), st.text(max_size=30), st.dictionaries(st.text(max_size=5), st.none() | st.binary(max_size=20)))
def test_no_announcement_is_refused(instance: str, pattern: str, txt: dict[str, bytes | None]) -> None:
    profiles = [profile("quill", quill(instance=pattern, mac_key="id", serial_key="sn")), profile("any", quill())]

    found = recognise(profiles, Service(service_type="_quill._tcp", instance=instance, txt=txt))

    assert found is not None
