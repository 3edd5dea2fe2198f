"""Rules that hold in every audit, whatever the policy: is everything there, and only that, and was it heard?"""

from pattress.model.rules import Rule
from pattress.policy.caution import CAUTION as CAUTION
from pattress.policy.fit_rules import FIT_RULES

DEVICE_PRESENT = Rule(
    id="device-present",
    title="The planned module is there",
    severity="fault",
    because="A module that is gone can be judged by nobody, and its circuit may stand in any state.",
    fix=f"See that the point has power and the module is on the Wi-Fi; if it was replaced, bind the new one. {CAUTION}",
)
DEVICE_ANSWERS = Rule(
    id="device-answers",
    title="The module answers",
    severity="fault",
    because="What a module does not tell is a gap in the audit, not good news.",
    fix="Ask it again with `pattress read`; look at its power, its signal, its password and its profile.",
)
DEVICE_PLANNED = Rule(
    id="device-planned",
    title="Every device on the device networks is in the plan",
    severity="fault",
    because="A device that nobody planned is either forgotten or a stranger.",
    fix="Add a point for it to points.toml, or an `[[other]]` entry that says why it may be there; or take it off.",
)
DEVICE_INSIDE = Rule(
    id="device-inside",
    title="Every device is inside the device networks",
    severity="fault",
    because="A device at an address of another network stands outside the isolation, or claims to.",
    fix="See which network the device has joined, or correct `networks.devices` in site.toml.",
)
IDENTITY_UNIQUE = Rule(
    id="identity-unique",
    title="Every identity is one device",
    severity="fault",
    because="Two devices under one identity cannot be told apart, so nothing that either says can be believed.",
    fix="Find both, and give each its own: a restored backup and a cloned setting are the usual causes.",
)
MODULE_AS_PLANNED = Rule(
    id="module-as-planned",
    title="The module is of the planned kind",
    severity="danger",
    because="Another kind has other ratings and another contact than the circuit was planned for.",
    fix=f"Fit the planned kind, or plan the circuit for the one that is there. {CAUTION}",
)
POINT_BOUND = Rule(
    id="point-bound",
    title="The point says which module stands there",
    severity="advice",
    because="Without the module's MAC, serial or announced name nothing can be checked at this point.",
    fix="Run `pattress discover`, and put the module's `mac` (or `serial`) into points.toml.",
)
AS_SIGNED_OFF = Rule(
    id="as-signed-off",
    title="Everything is set as it was signed off",
    severity="fault",
    because="Somebody agreed to the settings as they were; what has changed since then nobody has agreed to.",
    fix="Find out who changed it, set it back, or agree to it with `pattress sign-off`.",
)
MODULE_KEPT = Rule(
    id="module-kept",
    title="The same module stands at the point",
    severity="advice",
    because="A new module has settings of its own, and has not been checked before the wall was closed.",
    fix=f"Check it as a freshly fitted module and sign it off; the point's history goes on. {CAUTION}",
)
MAC_TRUE = Rule(
    id="mac-true",
    title="The module has the hardware address that it reports",
    severity="advice",
    because="What answers from another hardware address than it reports may be something else that answers for it.",
    fix="Compare with the label on the module; if this kind reports the address of another interface, waive the rule.",
)
ADDRESS_KEPT = Rule(
    id="address-kept",
    title="The module is at its address of the last time",
    severity="advice",
    because="An address that moves breaks firewall rules and automations that name it.",
    fix="Reserve its address in the DHCP server.",
)
WAIVER_CURRENT = Rule(
    id="waiver-current",
    title="The waiver has not ended",
    severity="advice",
    because="What it accepted is not accepted any more.",
    fix="Mend what it was for, or accept it anew with a new end.",
)
WAIVER_USED = Rule(
    id="waiver-used",
    title="The waiver is needed",
    severity="advice",
    because="A waiver that accepts nothing hides the next fault at its place.",
    fix="Take it out of waivers.toml.",
)
SOURCE_HEARD = Rule(
    id="source-heard",
    title="Every source was heard",
    severity="fault",
    because="What a silent source would have told is missing; a broker grants a subscription that its access list "
    "forbids, and then delivers nothing.",
    fix="See that the source works: the interface, the broker, the user's right to read the topic.",
)
STAYS_INSIDE = Rule(
    id="stays-inside",
    title="Nothing passes between the device and the outside",
    severity="danger",
    because="The device network is to have no way to the outside: the packet filter was changed, or never worked.",
    fix="Look at the packet filter first: which rule lets this through? Then at the module's cloud, broker and time "
    "settings. If it may be so, say it in `[[watch.allow]]` of site.toml.",
)
ASKS_NOTHING = Rule(
    id="asks-nothing-outside",
    title="The device does not try to get outside",
    severity="fault",
    because="The packet filter is all that holds it back; a device that is set as intended has no reason to try.",
    fix="Find the setting that makes it: the cloud, the broker, the time server, the resolver, updates of the "
    "firmware. If it may be so, say it in `[[watch.allow]]` of site.toml.",
)
SETTING_TRUE = Rule(
    id="setting-true",
    title="What a device does agrees with what it says of itself",
    severity="fault",
    because="A cloud that is off does not call: this setting does not tell the truth, and others may not either.",
    fix="Compare with the module's own page; look for newer firmware; believe what the network shows.",
)
UNLIKE_BEFORE = Rule(
    id="unlike-before",
    title="The device calls no more of the inside than it ever did",
    severity="fault",
    because="A device that suddenly calls many hosts or ports is looking for something, or somebody looks through it.",
    fix="Take it off the network if nobody can say why, then see what was changed on it; firmware first.",
)
WATCH_HEARD = Rule(
    id="watch-heard",
    title="Every source that watches the way outside was heard",
    severity="fault",
    because="Silence of a source is not proof that nothing left.",
    fix="See that `pattress watch` runs, and that the router still sends: its exporter, its log, its address.",
)

BUILTIN_RULES = (
    DEVICE_PRESENT,
    DEVICE_ANSWERS,
    DEVICE_PLANNED,
    DEVICE_INSIDE,
    IDENTITY_UNIQUE,
    MODULE_AS_PLANNED,
    POINT_BOUND,
    AS_SIGNED_OFF,
    MODULE_KEPT,
    MAC_TRUE,
    ADDRESS_KEPT,
    WAIVER_CURRENT,
    WAIVER_USED,
    SOURCE_HEARD,
    STAYS_INSIDE,
    ASKS_NOTHING,
    SETTING_TRUE,
    UNLIKE_BEFORE,
    WATCH_HEARD,
    *FIT_RULES,
)
