"""What the kernel's packet filter writes while a test runs."""

import errno
import os
import select
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from peers.requirements import require

_SWITCH = Path("/proc/sys/net/netfilter/nf_log_all_netns")
_RECORD_BYTES = 8192  # the kernel gives one record a read, and none is longer


class KernelLog:
    """The kernel's log from the moment this was made."""

    def __init__(self, descriptor: int) -> None:
        self._descriptor = descriptor

    def lines(self, prefix: str, deadline_s: float) -> Iterator[str]:
        """Yield the texts that begin with a prefix, as they come, until the deadline."""
        ends_at = time.monotonic() + deadline_s
        while (left_s := ends_at - time.monotonic()) > 0 and select.select([self._descriptor], [], [], left_s)[0]:
            for record in self._records():
                # A record is `priority,number,microseconds,flags;text`, then lines of details.
                text = record.split("\n", 1)[0].partition(";")[2]
                if text.startswith(prefix):
                    yield text

    def _records(self) -> Iterator[str]:
        while True:
            try:
                yield os.read(self._descriptor, _RECORD_BYTES).decode("utf-8", "replace")
            except BlockingIOError:
                return
            except OSError as error:
                if error.errno != errno.EPIPE:  # the oldest records were overwritten; the next read goes on
                    raise


@contextmanager
def kernel_log() -> Iterator[KernelLog]:
    """Have the kernel log what the packet filters of namespaces say, and put that switch back afterwards.

    The switch is of the whole machine, and so is the log: a test tells its own lines by a prefix of its own.
    """
    require(_SWITCH.exists(), "this kernel has no log of packet filters (module nf_log_syslog)")
    before = _SWITCH.read_text(encoding="ascii")
    try:
        descriptor = os.open("/dev/kmsg", os.O_RDONLY | os.O_NONBLOCK)
    except OSError as error:
        require(False, f"the kernel's log cannot be read: {error.strerror}")
        raise
    try:
        os.lseek(descriptor, 0, os.SEEK_END)
        try:
            _SWITCH.write_text("1\n", encoding="ascii")
        except OSError as error:
            require(False, f"logging from namespaces cannot be switched on: {error.strerror}")
        try:
            yield KernelLog(descriptor)
        finally:
            _SWITCH.write_text(before, encoding="ascii")
    finally:
        os.close(descriptor)
