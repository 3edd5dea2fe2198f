"""Network namespaces of a test's own: hosts on wires that reach nowhere else, and are gone afterwards on every path."""

import itertools
import os
import subprocess
from collections.abc import Iterator, Sequence
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass

from peers.requirements import require_peer, require_root

STOP_S = 5.0

_serial = itertools.count()


@dataclass(frozen=True, slots=True)
class Namespace:
    """One host of its own."""

    name: str

    def command(self, *words: str) -> list[str]:
        """Return the command line that runs a program here."""
        return [require_peer("ip"), "netns", "exec", self.name, *words]

    def run(self, *words: str) -> str:
        """Run a program here to its end and return what it printed."""
        return _run(*self.command(*words))

    def ip(self, *words: str) -> str:
        """Run `ip` here."""
        return _run(require_peer("ip"), "-n", self.name, *words)

    @contextmanager
    def running(self, *words: str, **options: object) -> Iterator[subprocess.Popen[bytes]]:
        """Keep a program running here; it is terminated in the end, and killed where that does not help."""
        process = subprocess.Popen(self.command(*words), **options)  # type: ignore[call-overload]
        try:
            yield process
        finally:
            stop(process)


@contextmanager
def namespaces(count: int) -> Iterator[Sequence[Namespace]]:
    """Make hosts that have nothing but loopback. IPv6 addresses there count at once, without a look for duplicates."""
    require_root()
    with ExitStack() as stack:
        yield [stack.enter_context(_namespace()) for _ in range(count)]


def connect(first: Namespace, first_name: str, second: Namespace, second_name: str) -> None:
    """Lay a wire between two hosts, with an interface at each end. It goes when one of the hosts goes."""
    first.ip("link", "add", first_name, "type", "veth", "peer", "name", second_name, "netns", second.name)
    for host, name in ((first, first_name), (second, second_name)):
        host.ip("link", "set", name, "up")


def stop(process: subprocess.Popen[bytes]) -> None:
    """End a program that we started."""
    process.terminate()
    try:
        process.wait(STOP_S)
    except subprocess.TimeoutExpired:
        process.kill()
        process.wait(STOP_S)


@contextmanager
def _namespace() -> Iterator[Namespace]:
    host = Namespace(f"pattress-{os.getpid()}-{next(_serial)}")
    ip = require_peer("ip")
    _run(ip, "netns", "add", host.name)
    try:
        host.run("sysctl", "-qw", "net.ipv6.conf.all.accept_dad=0", "net.ipv6.conf.default.accept_dad=0")
        host.ip("link", "set", "lo", "up")
        yield host
    finally:
        _run(ip, "netns", "del", host.name)


def _run(*words: str) -> str:
    done = subprocess.run(words, capture_output=True, text=True, timeout=20, check=False)
    if done.returncode != 0:
        raise RuntimeError(f"{' '.join(words)}: {done.stderr.strip()}")
    return done.stdout
