"""A right profile file, piece by piece."""

from pathlib import Path

from pattress.model.profile import (
    Access,
    AliveSign,
    DataSheet,
    Document,
    HttpGet,
    JsonRpc,
    MdnsRecognition,
    MqttAsk,
    MqttRecognition,
    MqttRetained,
    Profile,
    SettingSource,
)
from pattress.site.files import parse_toml, read_toml
from pattress.site.profile_file import profile_of

SMALL = """
id = "small"
maker = "Quill"
model = "One"
class = "other"
[access]
{access}
[[document]]
id = "facts"
{document}
[settings]
"mac" = {{ in = "facts", at = "hw" }}
"""


def small(access: str = "", document: str = 'get = "/facts"') -> list[str]:
    file = parse_toml(SMALL.format(access=access, document=document).encode(), "small.toml")
    profile = profile_of(file)
    assert (profile is None) == bool(file.faults)
    return [fault.place for fault in file.faults]


def test_a_right_file_becomes_the_profile_it_says(house: Path) -> None:
    file = read_toml(house / "profiles/quill-duo.toml", "quill-duo.toml")

    profile = profile_of(file)

    assert file.faults == []
    assert profile == Profile(
        id="quill-duo",
        maker="Quill",
        model="Duo 2",
        module_class="dual-relay",
        lacks=("shutter", "time.offset_s", "meter.*.power_factor"),
        channels={"output": 2, "input": 2, "meter": 1},
        recognise_mdns=(
            MdnsRecognition(
                service_type="_quill._tcp", instance="Quill-*", txt={"kind": "D2"}, mac_key="id", serial_key="sn"
            ),
        ),
        recognise_mqtt=(
            MqttRecognition(
                topic="tidewire/{serial}/here",
                where={"unit.type": "R1", "unit.batch": 7},
                mac="unit.hw",
                serial="unit.sn",
                address="unit.ip",
                port="unit.port",
            ),
        ),
        access=Access(scheme="http", port=8080, credential="header", header="X-Quill-Key"),
        documents=(
            Document(id="facts", request=HttpGet(path="/facts?all=1"), is_open=True),
            Document(id="shape", request=JsonRpc(path="/call", method="unit.describe", params={"part": "all"})),
            Document(
                id="state",
                request=MqttAsk(ask="tidewire/{serial}/ask", answer="tidewire/{serial}/answer", payload="state?"),
                decoding="text",
            ),
            Document(id="kept", request=MqttRetained(filter="tidewire/{serial}/kept/#")),
        ),
        settings=(
            SettingSource(name="mac", document="facts", at="unit.hw"),
            SettingSource(
                name="output.*.at_power_up",
                document="shape",
                at="lines[{index}].wake",
                values={"dark": "off", "lit": "on"},
            ),
            SettingSource(name="net.rssi_dbm", document="facts", at="radio", scale=1, offset=-0.5),
            SettingSource(name="output.*.contact", always="potential-free"),
            SettingSource(name="meter.*.power_w", document="kept", at="load.p{channel}", is_text=True),
            SettingSource(name="firmware.version", document="state", at="@"),
        ),
        alive=AliveSign(document="kept", at="alive", equals="yes"),
        data_sheet=DataSheet(
            rated_current_a=10,
            rated_power_w=2300.5,
            minimum_load_w=0,
            supply_ac_v=(100, 240),
            supply_dc_v=(24, 24),
            has_isolated_contact=True,
            needs_neutral=False,
            maximum_temperature_c=40,
        ),
    )


def test_a_secret_sent_as_it_is_over_http_needs_an_open_document_that_proves_who_answers() -> None:
    closed = {name: small(f'credential = "{name}"') for name in ("none", "digest", "basic", "bearer")}
    opened = {name: small(f'credential = "{name}"', 'get = "/facts"\nopen = true') for name in ("basic", "bearer")}
    encrypted = small('scheme = "https"\ncredential = "basic"')

    assert closed == {
        "none": [],
        "digest": [],
        "basic": ["access, credential"],
        "bearer": ["access, credential"],
    }
    assert opened == {"basic": [], "bearer": []}
    assert encrypted == []


def test_an_open_document_of_the_broker_proves_nothing_about_who_answers_over_http() -> None:
    faults = small('credential = "basic"', 'retained = "quill/{serial}/#"\nopen = true')

    assert faults == ["access, credential"]


def test_parameters_of_a_call_may_be_given_by_position() -> None:
    faults = small(document='rpc = { path = "/call", method = "facts", params = [1, "all", true] }')

    assert faults == []


def test_the_clock_of_a_device_is_read_in_seconds_or_as_text() -> None:
    entries = [
        '"time.offset_s" = { in = "facts", at = "now", clock = "unix", scale = 0.001, text = true }',
        '"time.offset_s" = { in = "facts", at = "now", clock = "iso" }',
    ]

    profiles = [
        profile_of(parse_toml((SMALL.format(access="", document='get = "/facts"') + entry).encode(), "small.toml"))
        for entry in entries
    ]

    assert [profile.settings[-1] for profile in profiles if profile is not None] == [
        SettingSource(name="time.offset_s", document="facts", at="now", clock="unix", scale=0.001, is_text=True),
        SettingSource(name="time.offset_s", document="facts", at="now", clock="iso"),
    ]
