"""MQTT topic names and filters.

What belongs here: the rules of MQTT 3.1.1 (OASIS, 2014-10-29) section 4.7. Matching itself is the library's.
"""

from paho.mqtt.client import topic_matches_sub

MAX_TOPIC_BYTES = 65535  # MQTT 3.1.1 section 4.7.3


def matches(topic_filter: str, topic: str) -> bool:
    """Whether a filter matches a topic name (MQTT 3.1.1 section 4.7)."""
    return topic_matches_sub(topic_filter, topic)


def filter_fault(topic_filter: str) -> str | None:
    """Return what is wrong with a topic filter, or None (MQTT 3.1.1 sections 4.7.1 and 4.7.3)."""
    if not topic_filter:
        return "a topic filter must not be empty"
    if "\0" in topic_filter:
        return "a topic filter must not hold the character U+0000"
    if len(topic_filter.encode()) > MAX_TOPIC_BYTES:
        return f"a topic filter must not be longer than {MAX_TOPIC_BYTES} bytes"
    levels = topic_filter.split("/")
    for number, level in enumerate(levels, start=1):
        if "#" in level and (level != "#" or number != len(levels)):
            return "'#' must stand alone in the last level"
        if "+" in level and level != "+":
            return "'+' must stand alone in its level"
    return None


def topic_fault(topic: str) -> str | None:
    """Return what is wrong with a topic name to publish to, or None (MQTT 3.1.1 section 4.7)."""
    if "+" in topic or "#" in topic:
        return "a topic name must not hold '+' or '#'"
    return filter_fault(topic)
