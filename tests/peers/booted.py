"""A host of its own that systemd has started, in namespaces that reach nowhere else and are gone afterwards."""

import contextlib
import os
import secrets
import signal
import socket
import subprocess
import sys
import sysconfig
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path

from peers.requirements import require_peer, require_root

CHECKOUT = Path(__file__).parents[2]
BOOT_S = 30.0  # it takes half a second
COMMAND_S = 60.0
STOP_S = 10.0


@dataclass(frozen=True, slots=True, kw_only=True)
class BootedHost:
    """The host. `/trial` in it is `trial` here, `/opt/pattress` holds this checkout and its Python."""

    process_id: int
    trial: Path

    def command(self, *words: str) -> list[str]:
        """Return the command line that runs a program there, outside every unit."""
        return [require_peer("nsenter"), "--target", str(self.process_id), "--all", *words]

    def run(self, *words: str) -> subprocess.CompletedProcess[str]:
        """Run a program there to its end."""
        return subprocess.run(self.command(*words), capture_output=True, text=True, timeout=COMMAND_S, check=False)

    def succeed(self, *words: str) -> str:
        """Run a program there that must succeed, and return what it printed."""
        done = self.run(*words)
        if done.returncode != 0:
            raise RuntimeError(f"{' '.join(words)}: {done.stderr.strip()}")
        return done.stdout


@contextlib.contextmanager
def booted(folder: Path, units: Mapping[str, str]) -> Iterator[BootedHost]:
    """Have systemd start a host that has these units, by file name, besides those that come with systemd."""
    require_root()
    unshare, _ = require_peer("unshare"), require_peer("systemctl")
    for name in ("groups", "root", "trial"):
        (folder / name).mkdir()
    for name, text in units.items():
        (folder / "trial" / name).write_text(text, encoding="utf-8")
    environment = {
        **os.environ,
        "FOLDER": str(folder),
        "GROUP": f"pattress-test-{secrets.token_hex(8)}",
        "CHECKOUT": str(CHECKOUT),
        "PYTHON": sys.base_prefix,
        "PACKAGES": sysconfig.get_path("purelib"),
    }
    script = [unshare, "--mount", "--propagation", "private", "sh", str(Path(__file__).with_name("boot.sh"))]
    with (folder / "boot.log").open("wb") as log, _readiness(folder / "trial" / "ready") as ready:
        try:
            process = subprocess.Popen([*script, "boot"], stdout=log, stderr=log, env=environment)
            try:
                _await_ready(ready, process, folder / "boot.log")
                yield BootedHost(process_id=_only_child(process.pid), trial=folder / "trial")
            finally:
                _end(process)
        finally:
            subprocess.run([*script, "forget"], env=environment, stdout=log, stderr=log, timeout=STOP_S, check=True)


@contextlib.contextmanager
def _readiness(path: Path) -> Iterator[socket.socket]:
    """Return where systemd says that it has started everything: sd_notify(3)."""
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as ready:
        ready.bind(str(path))
        ready.settimeout(BOOT_S)
        yield ready


def _await_ready(ready: socket.socket, process: subprocess.Popen[bytes], log: Path) -> None:
    try:
        while b"READY=1" not in ready.recv(4096).splitlines():
            pass
    except TimeoutError:
        said = log.read_text(encoding="utf-8", errors="replace")
        raise RuntimeError(f"systemd has not started in {BOOT_S:g} s ({process.poll()}): {said}") from None


def _end(process: subprocess.Popen[bytes]) -> None:
    """End the host: with the first process of a namespace, the kernel ends every other one in it."""
    if process.poll() is None:
        with contextlib.suppress(ProcessLookupError, ValueError):
            os.kill(_only_child(process.pid), signal.SIGKILL)
        try:
            process.wait(STOP_S)
        except subprocess.TimeoutExpired:
            process.kill()
            process.wait(STOP_S)


def _only_child(process_id: int) -> int:
    (child,) = Path(f"/proc/{process_id}/task/{process_id}/children").read_text(encoding="ascii").split()
    return int(child)
