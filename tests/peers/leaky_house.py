"""A house whose way to the outside is real: a device, a router with a packet filter, and a host outside.

The router runs what routers run: the kernel's packet filter, a flow exporter (pmacct), a resolver (dnsmasq), and
`logger` for syslog. What belongs here: the house. What does not: what is to be told of it.
"""

import json
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from queue import Empty, Queue
from typing import IO, Any

from peers.kernel_log import KernelLog
from peers.namespaces import Namespace, connect, namespaces
from peers.requirements import require_peer

MAC = "02:00:5e:00:53:07"
DEVICE, ROUTER, OUTSIDE = "192.0.2.7", "192.0.2.1", "203.0.113.9"
NAME = "cloud.vendor.example"
FLOWS, SYSLOG = 4739, 5514
EXPIRY_S = 5  # the exporter's own timeout for a flow that goes on; what a person may set is longer
RULES = """
table inet house {{
    chain forward {{
        type filter hook forward priority 0; policy accept;
        iifname "iot0" oifname "wan0" ct state new log prefix "{prefix}-drop " drop comment "isolation"
        iifname "iot0" oifname "wan0" ct state new log prefix "{prefix}-pass "
    }}
}}
"""
EXPORTER = """
daemonize: false
pcap_interface: iot0
plugins: nfprobe
aggregate: src_host, dst_host, src_port, dst_port, proto, tcpflags
nfprobe_receiver: 127.0.0.1:{port}
nfprobe_source_ip: 127.0.0.1
nfprobe_version: 10
nfprobe_timeouts: tcp={s}:tcp.rst={s}:tcp.fin={s}:udp={s}:icmp={s}:general={s}:maxlife={s}:expint=1
"""
SITE = """
name = "Larkspur Mill"
policy = "policy.toml"
[networks]
devices = ["192.0.2.0/24"]
outside = ["203.0.113.0/24"]
[discovery]
mdns = false
[watch]
flows_at = "127.0.0.1:{flows}"
syslog_at = "127.0.0.1:{syslog}"
"""
SOURCES = {
    "flows": '[[watch.source]]\nname = "router-flows"\nkind = "flows"\nfrom = ["127.0.0.1"]\n',
    "firewall": '[[watch.source]]\nname = "router-log"\nkind = "firewall"\nfrom = ["127.0.0.1"]\n'
    'prefix = {{ "{prefix}-drop" = "dropped", "{prefix}-pass" = "let-through" }}\n',
    "names": '[[watch.source]]\nname = "resolver"\nkind = "names"\nfile = "{folder}/names.log"\n',
}
POINTS = f"""
[[point]]
name = "hall-lights"
room = "Hall"
kind = "tidewire-plain"
mac = "{MAC}"
address = "{DEVICE}"
"""
POLICY = """
id = "house"
title = "House"
[[rule]]
id = "cloud-off"
title = "The cloud is off"
severity = "danger"
because = "Whoever has the cloud has the switch."
fix = "Turn it off."
require."cloud.enabled" = false
"""
PROFILE = """
id = "tidewire-plain"
maker = "Tidewire"
model = "Plain"
class = "isolated-contact-relay"
[channels]
output = 1
[[document]]
id = "facts"
get = "/facts"
[settings]
mac = { in = "facts", at = "hw" }
"cloud.enabled" = { in = "facts", at = "far" }
"""
ANSWERS = """
import socket, threading
tcp = socket.create_server(("203.0.113.9", 8883))
udp = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
udp.bind(("203.0.113.9", 123))
print("ready", flush=True)
def answer_udp():
    while True:
        data, sender = udp.recvfrom(2048)
        udp.sendto(data, sender)
threading.Thread(target=answer_udp, daemon=True).start()
while True:
    one, _ = tcp.accept()
    one.sendall(b"welcome")
    one.close()
"""
CALL = """
import socket, sys
with socket.socket() as one:
    one.settimeout(1.5)
    try:
        one.connect(("203.0.113.9", 8883))
        print(one.recv(100).decode())
    except OSError as error:
        print(type(error).__name__)
"""
ASK = """
import socket, struct, sys
name = b"".join(bytes([len(part)]) + part.encode() for part in sys.argv[1].split(".")) + b"\\0"
with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as one:
    one.settimeout(3)
    one.sendto(struct.pack("!6H", 7, 0x0100, 1, 0, 0, 0) + name + struct.pack("!2H", 1, 1), ("192.0.2.1", 53))
    one.recv(512)
"""


@dataclass
class Watched:
    """`pattress watch` as a person runs it, with the lines it prints as they come, each with its moment."""

    process: subprocess.Popen[bytes]
    lines: Queue[tuple[float, str]] = field(default_factory=Queue)
    said: list[str] = field(default_factory=list)

    def stop(self) -> None:
        """Stop it as a service manager does, and wait for its end: what is left is told and kept then."""
        self.process.terminate()
        self.process.wait(20)

    def read(self, stream: IO[bytes]) -> None:
        """Put each line into the queue."""
        for line in stream:
            self.lines.put((time.time(), line.decode()))

    def wait_for(self, words: str, seconds: float) -> float:
        """Return when a line with these words came.

        Raises:
            AssertionError: If none does in time, with all that came.
        """
        ends_at = time.monotonic() + seconds
        while (left_s := ends_at - time.monotonic()) > 0:
            try:
                at, line = self.lines.get(timeout=left_s)
            except Empty:
                break
            self.said.append(line)
            if words in line:
                return at
        raise AssertionError(f"no {words!r} within {seconds:g} s, but: {''.join(self.said)}")


@dataclass(frozen=True, kw_only=True)
class LeakyHouse:
    """The house, ready to leak."""

    device: Namespace
    router: Namespace
    folder: Path

    def call_outside(self) -> str:
        """Have the device connect to the host outside, and return what came of it."""
        return self.device.run(sys.executable, "-c", CALL).strip()

    def ask_for_name(self) -> None:
        """Have the device look up the name of the host outside."""
        self.device.run(sys.executable, "-c", ASK, NAME)

    def remove_isolation(self) -> None:
        """Take the one rule away that keeps the device inside."""
        nft = require_peer("nft")
        rules = json.loads(self.router.run(nft, "--json", "list", "chain", "inet", "house", "forward"))["nftables"]
        [handle] = [one["rule"]["handle"] for one in rules if one.get("rule", {}).get("comment") == "isolation"]
        self.router.run(nft, "delete", "rule", "inet", "house", "forward", "handle", str(handle))

    def pattress(self, *words: str) -> list[str]:
        """Return the command line of the program."""
        return [sys.executable, "-m", "pattress", *words, "--site", str(self.folder)]

    def encounters(self) -> list[dict[str, Any]]:
        """Return what is on record."""
        done = subprocess.run(
            self.router.command(*self.pattress("encounters", "--json")), check=False, capture_output=True, timeout=60
        )
        assert done.returncode in (0, 1, 3), done.stderr.decode()
        found: list[dict[str, Any]] = json.loads(done.stdout)["encounters"]
        return found

    @contextmanager
    def watch(self) -> Iterator[Watched]:
        """Run `pattress watch` on the router until the end of the block."""
        command = self.pattress("watch")
        with self.router.running(*command, stdout=subprocess.PIPE, stderr=subprocess.PIPE) as process:
            watched = Watched(process)
            readers = [threading.Thread(target=watched.read, args=(one,)) for one in (process.stdout, process.stderr)]
            for reader in readers:
                reader.start()
            try:
                watched.wait_for("Watching the way", 20)
                yield watched
            finally:
                watched.stop()
                for reader in readers:
                    reader.join(5)
                for stream in (process.stdout, process.stderr):
                    stream.close()


@contextmanager
def leaky_house(folder: Path, log: KernelLog, prefix: str, *, sources: tuple[str, ...]) -> Iterator[LeakyHouse]:
    """Make the house, with its packet filter as it should be."""
    with namespaces(3) as (device, router, outside), ExitStack() as stack:
        connect(device, "dev0", router, "iot0")
        connect(outside, "out0", router, "wan0")
        device.ip("link", "set", "dev0", "address", MAC)
        for host, name, address in (
            (device, "dev0", DEVICE), (router, "iot0", ROUTER), (router, "wan0", "203.0.113.1"),
            (outside, "out0", OUTSIDE),
        ):  # fmt: skip
            host.ip("addr", "add", f"{address}/24", "dev", name)
        device.ip("route", "add", "default", "via", ROUTER)
        outside.ip("route", "add", "default", "via", "203.0.113.1")
        router.run("sysctl", "-qw", "net.ipv4.ip_forward=1")
        router.run(require_peer("nft"), RULES.format(prefix=prefix))
        _write_site(folder, prefix, sources)
        answers = outside.running(sys.executable, "-c", ANSWERS, stdout=subprocess.PIPE)
        stack.enter_context(_ready(stack.enter_context(answers)))
        if "names" in sources:
            stack.enter_context(_resolver(router, folder))
        if "firewall" in sources:
            stack.enter_context(_syslog(router, log, prefix))
        if "flows" in sources:
            (folder / "exporter.conf").write_text(EXPORTER.format(port=FLOWS, s=EXPIRY_S), encoding="ascii")
            exporter = [require_peer("pmacctd"), "-f", str(folder / "exporter.conf")]
            with (folder / "exporter.log").open("wb") as said:
                stack.enter_context(router.running(*exporter, stdout=said, stderr=said))
        yield LeakyHouse(device=device, router=router, folder=folder)


def _write_site(folder: Path, prefix: str, sources: tuple[str, ...]) -> None:
    text = SITE.format(flows=FLOWS, syslog=SYSLOG)
    if "flows" not in sources:
        text = text.replace(f'flows_at = "127.0.0.1:{FLOWS}"\n', "")
    if "firewall" not in sources:
        text = text.replace(f'syslog_at = "127.0.0.1:{SYSLOG}"\n', "")
    text += "".join(SOURCES[name].format(prefix=prefix, folder=folder) for name in sources)
    (folder / "profiles").mkdir()
    for name, content in (
        ("site.toml", text), ("points.toml", POINTS), ("policy.toml", POLICY), ("profiles/plain.toml", PROFILE),
        ("names.log", ""),
    ):  # fmt: skip
        (folder / name).write_text(content, encoding="utf-8")


@contextmanager
def _ready(process: subprocess.Popen[bytes]) -> Iterator[None]:
    assert process.stdout is not None
    with process.stdout:
        assert process.stdout.readline() == b"ready\n"
        yield


@contextmanager
def _resolver(router: Namespace, folder: Path) -> Iterator[None]:
    command = [require_peer("dnsmasq"), "--keep-in-foreground", "--conf-file=/dev/null", "--no-resolv", "--no-hosts"]
    command += ["--interface=iot0", "--bind-interfaces", "--user=root", "--pid-file=", "--log-queries=extra"]
    command += [f"--log-facility={folder / 'names.log'}", f"--host-record={NAME},{OUTSIDE}"]
    with router.running(*command, stderr=subprocess.PIPE) as process:
        assert process.stderr is not None
        with process.stderr:
            ends_at = time.monotonic() + 10
            while "started" not in (folder / "names.log").read_text(encoding="utf-8"):
                assert time.monotonic() < ends_at, "dnsmasq does not start"
                assert process.poll() is None, process.stderr.read()
                time.sleep(0.02)
            yield


@contextmanager
def _syslog(router: Namespace, log: KernelLog, prefix: str) -> Iterator[None]:
    """Send the kernel's own lines by syslog, with the system's `logger`."""
    command = [require_peer("logger"), "--udp", "--server", "127.0.0.1", "--port", str(SYSLOG), "--tag", "kernel"]
    with router.running(*command, stdin=subprocess.PIPE) as process:
        is_over = threading.Event()

        def pass_on() -> None:
            assert process.stdin is not None
            while not is_over.is_set():
                for line in log.lines(prefix, 0.2):
                    process.stdin.write(f"{line}\n".encode())
                    process.stdin.flush()

        passing = threading.Thread(target=pass_on)
        passing.start()
        try:
            yield
        finally:
            is_over.set()
            passing.join()
            assert process.stdin is not None
            process.stdin.close()
