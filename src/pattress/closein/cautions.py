"""The cautions of the check: each stands at the step where the danger is, and the person confirms it.

What belongs here: these words. What does not: when they are shown (the steps).
"""

from pattress.policy.builtin import CAUTION

_OPEN_BOX = "Low voltage and mains may share it: touch nothing inside, keep others away, and have no loose conductor."
POWER_ON = (
    f"The circuit is about to be live with the box open. {_OPEN_BOX} Local codes come first; where the law asks for a "
    "licensed electrician, that is who does it."
)
LIVE = f"The module answers: its circuit is live, and the box may be open. {_OPEN_BOX} {CAUTION}"
MEND = f"What is broken may have to be mended in the box. {CAUTION}"
LIVE_SWITCH = (
    "The switch is operated by its face alone. Behind it mains may be live, and an input that is made for low voltage "
    "is not safe to touch for that: its supply need not be isolated from mains."
)
MOVES = (
    "Something is about to move or to run: a shutter, a door, a pump. See that nobody and nothing is in its way, and "
    "that you can stop it."
)
HOT = (
    "Loads get hot, and so does the module. Look before you touch; stay near as long as it is tried; keep away what "
    "could burn."
)
PLATE = f"The plate goes on with the circuit dead. {CAUTION}"
POWER_CUT = (
    "The circuit is switched off and on again at the board. See that nobody works on it, and that nothing depends on "
    "it: a medical device, a freezer, an alarm. What comes back on by itself may move or get hot."
)
