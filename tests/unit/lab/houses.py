"""Houses for the tests: healthy, without delay, on a broker that runs already."""

from typing import Any

from pattress.lab.house import Endpoint
from pattress.lab.run import EmulatedHouse, ExternalBroker

WAIT_FOR_OTHER_HOUSE_S = 120  # another run of the tests, or a demo, on the same machine


def healthy_house(broker: Endpoint, **settings: Any) -> EmulatedHouse:
    settings = {"faults": (), "delay_s": (0, 0), "wait_s": WAIT_FOR_OTHER_HOUSE_S} | settings
    return EmulatedHouse(broker=ExternalBroker(endpoint=broker), **settings)
