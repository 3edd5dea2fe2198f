"""A site made by hand as the documentation tells, with a module that the emulated house knows nothing of."""

import re
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from functools import partial
from http.server import SimpleHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path

import pytest

from cli.running import pattress_command

ROOT = Path(__file__).parents[2]
GUIDE = (ROOT / "docs" / "profiles.md").read_text(encoding="utf-8")
DOCUMENTS = ROOT / "fixtures" / "marlstone" / "one"
ADDRESS = "127.78.0.61"


class _Quiet(SimpleHTTPRequestHandler):
    def log_message(self, format: str, *arguments: object) -> None:
        pass


@contextmanager
def served(folder: Path) -> Iterator[int]:
    """Serve a folder over plain HTTP on a loopback address; give the port."""
    server = ThreadingHTTPServer((ADDRESS, 0), partial(_Quiet, directory=str(folder)))
    server.daemon_threads = True
    thread = threading.Thread(target=server.serve_forever, kwargs={"poll_interval": 0.05})
    thread.start()
    try:
        yield server.server_port
    finally:
        server.shutdown()
        thread.join()
        server.server_close()


def block(language: str, after: str) -> str:
    """Return the first fenced block of the guide after some words."""
    found = re.search(rf"{re.escape(after)}.*?```{language}\n(.*?)```", GUIDE, re.DOTALL)
    assert found is not None, after
    return found[1]


@pytest.mark.parametrize("name", ["about", "wiring"])
def test_the_documents_of_the_guide_are_those_of_the_fixture(name: str) -> None:
    assert block("json", f"`GET /{name}.json`") == (DOCUMENTS / f"{name}.json").read_text(encoding="utf-8")


def write_by_hand(folder: Path, port: int) -> None:
    """Do what the README and the guide tell to do, on loopback instead of a VLAN."""
    profile = block("toml", "`profiles/marlstone-one.toml`")
    (folder / "profiles" / "marlstone-one.toml").write_text(f"{profile}\n[access]\nport = {port}\n", encoding="utf-8")
    points = block("toml", "`points.toml`").replace("192.0.2.61", ADDRESS)
    (folder / "points.toml").write_text(points, encoding="utf-8")
    site = (folder / "site.toml").read_text(encoding="utf-8")
    site = site.replace("192.168.40.0/24", "127.78.0.0/24").replace("192.168.1.0/24", "192.0.2.0/24")
    (folder / "site.toml").write_text(site.replace('# interfaces = ["vlan40"]', 'interfaces = ["127.0.0.1"]'), "utf-8")


async def test_a_module_described_by_the_guide_is_audited_and_its_faults_are_found(tmp_path: Path) -> None:
    documents = tmp_path / "documents"
    documents.mkdir()
    for file in DOCUMENTS.glob("*.json"):
        # It says where it is, which is not on the VLAN of the guide here.
        (documents / file.name).write_text(file.read_text("utf-8").replace("192.0.2.61", ADDRESS), "utf-8")
    with served(documents) as port:
        site = tmp_path / "house"
        assert (await pattress_command("init", str(site))).status == 0
        write_by_hand(site, port)

        checked = await pattress_command("check", "--site", str(site))
        healthy = await pattress_command("audit", "--site", str(site), "--listen", "0.5", "--json")
        wiring = documents / "wiring.json"
        wiring.write_text(wiring.read_text("utf-8").replace('"phonesHome": false', '"phonesHome": true'), "utf-8")
        faulty = await pattress_command("audit", "--site", str(site), "--listen", "0.5", "--json")

    assert checked.status == 0, checked.err
    not_met = [one["sentence"] for one in healthy.document["findings"] if one["outcome"] != "met"]
    assert [sentence for sentence in not_met if "mDNS" not in sentence] == []
    broken = [one["sentence"] for one in faulty.document["findings"] if one["outcome"] == "broken"]
    assert broken == ["cloud.enabled is true, but must be false."]
    assert faulty.status == 1
