"""The site files of the emulated house, written for the house that runs: networks, plan, waiver, secrets.

What belongs here: TOML text from what the house is. What does not: reading it back (`pattress.site`).
"""

from collections.abc import Iterator, Mapping
from datetime import date, timedelta
from pathlib import Path

from pattress.lab.circuits import TABLES_TEXT
from pattress.lab.faults import FAULTS
from pattress.lab.larkspur_mill import HOUSE_NAME
from pattress.lab.maker import USER
from pattress.lab.makers import HTTP_MAKERS
from pattress.lab.router import OUTSIDE
from pattress.lab.run import EmulatedHouse
from pattress.lab.wiring import toml_value, wiring_text
from pattress.model.vocabulary import Value

LISTEN_S = 3
ANSWER_S = 2  # modules on loopback answer in 0.15 s; the silent one is given up after this
WAIVER_DAYS = 90


def write_site(house: EmulatedHouse, folder: Path, *, today: date, is_watched: bool = False) -> Path:
    """Write the files of a site for the running house, and return the folder that holds them.

    Where it `is_watched`, the site names the router of the house as a source of what has to do with the outside. The
    plan says of the wiring what `house.wiring` holds. The secrets are readable by their owner only. A database that is
    there from an earlier run is left alone.
    """
    secrets = folder / "secrets"
    secrets.mkdir(parents=True, exist_ok=True)
    secrets.chmod(0o700)
    for name, secret in _secrets(house).items():
        file = secrets / name
        file.touch(mode=0o600)
        file.chmod(0o600)
        file.write_text(secret + "\n", encoding="utf-8")
    (folder / "site.toml").write_text("\n".join(_site(house, is_watched=is_watched)), encoding="utf-8")
    (folder / "points.toml").write_text("\n".join(_points(house)), encoding="utf-8")
    if house.wiring:
        (folder / "tables.toml").write_text(TABLES_TEXT, encoding="utf-8")
    (folder / "waivers.toml").write_text("\n".join(_waivers(house.faults, today)), encoding="utf-8")
    return folder


def _secrets(house: EmulatedHouse) -> Mapping[str, str]:
    broker = {} if house.broker_secret is None else {"broker": house.broker_secret}
    return {**house.secrets, **broker}


def _site(house: EmulatedHouse, *, is_watched: bool) -> Iterator[str]:
    yield f"# {HOUSE_NAME}: an emulated house on this machine. Every maker, model and address in it is invented."
    yield f"name = {toml_value(HOUSE_NAME)}"
    yield 'policy = "isolated-house"'
    yield ""
    yield "[networks]"
    yield f"devices = [{toml_value(house.ground.network)}]"
    yield f"inside = [{toml_value(f'{house.broker.host}/32')}]"
    if is_watched:
        yield f"outside = [{toml_value(OUTSIDE)}]  # addresses for documentation stand in for the internet"
    yield 'interfaces = ["127.0.0.1"]'
    yield ""
    yield "[discovery]"
    yield f"listen_s = {LISTEN_S}"
    yield "neighbours = false  # nobody is a neighbour on loopback"
    yield ""
    yield "[reading]"
    yield f"answer_s = {ANSWER_S}"
    yield ""
    yield "[[broker]]"
    yield 'name = "house"'
    yield f"host = {toml_value(house.broker.host)}"
    yield f"port = {house.broker.port}"
    if house.broker_user is not None:
        yield f"user = {toml_value(house.broker_user)}"
        yield 'password_file = "secrets/broker"'
    for kind in sorted({module.kind for module in house.modules.values()}):
        yield from _credential(kind)
    yield ""
    if is_watched:
        yield from _watch(house)


def _watch(house: EmulatedHouse) -> Iterator[str]:
    yield "[watch]"
    yield f"flows_at = {toml_value(f'{house.collector.host}:{house.collector.port}')}"
    yield 'tried = "at once"'
    yield ""
    yield "[[watch.source]]"
    yield 'name = "router"'
    yield 'kind = "flows"'
    yield f"from = [{toml_value(house.ground.house_server)}]"
    yield ""


def _credential(kind: str) -> Iterator[str]:
    maker = HTTP_MAKERS.get(kind.partition("-")[0])
    if maker is None:
        return
    yield ""
    yield "[[credential]]"
    yield f"kind = {toml_value(kind)}"
    if maker.guard(kind) not in ("bearer", "header"):
        yield f"user = {toml_value(USER)}"
    yield f"secret_file = {toml_value('secrets/' + kind.partition('-')[0])}"


def _points(house: EmulatedHouse) -> Iterator[str]:
    yield f"# The plan of {HOUSE_NAME}: what each place is meant to be."
    for point, module in house.modules.items():
        yield ""
        yield "[[point]]"
        yield f"name = {toml_value(point)}"
        yield f"room = {toml_value(module.room or '')}"
        yield f"kind = {toml_value(module.kind)}"
        yield f"mac = {toml_value(module.mac)}"
        wiring = house.wiring.get(point)
        yield from _planned({**module.plan, **(wiring.settings if wiring else {})})
        if wiring is not None:
            yield from wiring_text(wiring)
    yield ""


def _planned(settings: Mapping[str, Value]) -> Iterator[str]:
    yield "[point.plan]"
    for name, value in sorted(settings.items()):
        yield f"{name} = {toml_value(value)}"


def _waivers(faults: frozenset[str], today: date) -> Iterator[str]:
    fault = FAULTS["weak-signal"]
    yield "# What is accepted, by whom, and until when."
    if fault.name not in faults:
        return
    yield "[[waiver]]"
    yield f"rule = {toml_value(fault.found[0][0])}"
    yield f"point = {toml_value(fault.point or '')}"
    yield 'reason = "The cellar gets an access point of its own when the east wing is wired."'
    yield 'who = "the innkeeper"'
    yield f"until = {(today + timedelta(days=WAIVER_DAYS)).isoformat()}"
    yield ""
