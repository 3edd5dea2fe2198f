"""A mosquitto broker of a test's own on loopback, and a client beside it that stands for a module.

What belongs here: starting, stopping and talking to it. What does not: any claim about our own program.
"""

import os
import socket
import subprocess
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from paho.mqtt.client import Client, MQTTMessage
from paho.mqtt.enums import CallbackAPIVersion

from peers.requirements import require_peer
from raw_server import LOOPBACK

DEADLINE_S = 5.0
# Only what it says at its start: a pipe that nobody reads must not fill up and stop it.
QUIET = ("log_dest stderr", "log_type information", "log_type error", "connection_messages false", "user root")


class Mosquitto:
    """One broker, which can be stopped and started again on the same port."""

    def __init__(self, folder: Path, *lines: str) -> None:
        self.port = _free_port()
        self._program = require_peer("mosquitto")
        self._file = folder / f"mosquitto-{self.port}.conf"
        self._file.write_text("\n".join([*QUIET, f"listener {self.port} {LOOPBACK}", *lines]) + "\n")
        self._process: subprocess.Popen[str] | None = None

    def start(self) -> None:
        """Start it and wait until it says that it runs."""
        process = subprocess.Popen(
            [self._program, "-c", str(self._file)], stderr=subprocess.PIPE, text=True, env={"PATH": os.environ["PATH"]}
        )
        self._process = process
        assert process.stderr is not None
        said = []
        for line in process.stderr:
            said.append(line)
            if line.rstrip().endswith("running"):
                with socket.create_connection((LOOPBACK, self.port), timeout=DEADLINE_S):
                    return
        raise AssertionError(f"mosquitto ended at once: {said}")

    def stop(self) -> None:
        """End it; as good twice as once."""
        process, self._process = self._process, None
        if process is None:
            return
        process.terminate()
        try:
            process.wait(DEADLINE_S)
        except subprocess.TimeoutExpired:
            process.kill()
            process.wait()
        assert process.stderr is not None
        process.stderr.close()


@contextmanager
def mosquitto(folder: Path, *lines: str) -> Iterator[Mosquitto]:
    """Keep a broker running; with no lines it lets everybody in."""
    broker = Mosquitto(folder, *(lines or ("allow_anonymous true",)))
    try:
        broker.start()
        yield broker
    finally:
        broker.stop()


def password_file(folder: Path, **passwords: str) -> Path:
    """Return a new file in mosquitto's own form, with these users."""
    path = folder / "passwords"
    path.touch(mode=0o600)
    for user, password in passwords.items():
        subprocess.run([require_peer("mosquitto_passwd"), "-b", str(path), user, password], check=True)
    return path


class Module:
    """A client of the broker that stands for a module: it publishes, and answers questions."""

    def __init__(self, client: Client) -> None:
        self._client = client
        self._answers: dict[str, list[tuple[str, bytes]]] = {}
        self.heard: list[tuple[str, bytes]] = []
        client.on_message = self._on_message

    def keep(self, topic: str, payload: bytes | str) -> None:
        """Publish a retained message, and return when the broker has it."""
        self._client.publish(topic, payload, qos=1, retain=True).wait_for_publish(DEADLINE_S)

    def say(self, topic: str, payload: bytes | str) -> None:
        """Publish a message that is not retained, and return when the broker has it."""
        self._client.publish(topic, payload, qos=1).wait_for_publish(DEADLINE_S)

    def answer(self, question: str, *answers: tuple[str, bytes]) -> None:
        """From now on publish these on each message to `question`. Returns when the broker has the subscription."""
        granted = threading.Event()
        self._client.on_subscribe = lambda *_: granted.set()
        self._answers[question] = list(answers)
        self._client.subscribe(question, qos=1)
        assert granted.wait(DEADLINE_S)

    def _on_message(self, client: Client, userdata: object, message: MQTTMessage) -> None:
        self.heard.append((message.topic, message.payload))
        for topic, payload in self._answers.get(message.topic, ()):
            client.publish(topic, payload, qos=1)


@contextmanager
def module(port: int, *, user: str | None = None, password: str | None = None) -> Iterator[Module]:
    """Connect a module; it is disconnected in the end."""
    client = Client(CallbackAPIVersion.VERSION2)
    if user is not None:
        client.username_pw_set(user, password)
    client.connect(LOOPBACK, port)
    client.loop_start()
    try:
        yield Module(client)
    finally:
        client.disconnect()
        client.loop_stop()


def _free_port() -> int:
    with socket.socket() as probe:
        probe.bind((LOOPBACK, 0))
        return int(probe.getsockname()[1])
