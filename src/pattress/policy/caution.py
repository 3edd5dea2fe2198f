"""The caution that stands wherever the next step is at an open box."""

CAUTION = (
    "Before a box is opened: switch the circuit off, lock it off and prove it dead. Local codes come first; where the "
    "law asks for a licensed electrician, that is who does it."
)
