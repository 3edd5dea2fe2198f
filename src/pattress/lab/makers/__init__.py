"""The five invented makers of the emulated house, each in its own protocol, names, units and shapes.

What belongs here: the registry. Each maker has a module of its own; nobody else knows its words but its profiles.
"""

from collections.abc import Mapping

from pattress.lab.maker import HttpMaker, MqttMaker
from pattress.lab.makers.brackenvolt import BRACKENVOLT
from pattress.lab.makers.fennimoor import FENNIMOOR
from pattress.lab.makers.ouseltide import OUSELTIDE
from pattress.lab.makers.quernlight import QUERNLIGHT
from pattress.lab.makers.tarnhollow import TARNHOLLOW

HTTP_MAKERS: Mapping[str, HttpMaker] = {
    "brackenvolt": BRACKENVOLT,
    "quernlight": QUERNLIGHT,
    "tarnhollow": TARNHOLLOW,
}
MQTT_MAKERS: Mapping[str, MqttMaker] = {"fennimoor": FENNIMOOR, "ouseltide": OUSELTIDE}
