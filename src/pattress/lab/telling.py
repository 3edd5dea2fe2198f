"""What an emulated module says of its body: measurements, with the noise and the steps of its sensors.

What belongs here: values by the names of the vocabulary. What does not: what is so (`body`), and how a maker writes it
(`makers`).
"""

from collections.abc import Iterator, Mapping

from pattress.lab.body import Body, as_number
from pattress.lab.physics import noise, quantised
from pattress.model.vocabulary import Value

STRAY_W = 0.05  # what a meter shows of nothing
FEED_OHM = 0.05  # an LED strip's supply and its leads
LOWEST_DBM, HIGHEST_DBM = -120, 0


def told(body: Body, now_s: float, *, seed: int, plate_is_on: bool) -> Mapping[str, Value]:
    """Return what a module measures now, of what it can measure; `body` must have been advanced to that moment."""
    values: dict[str, Value] = {}
    values.update((f"output.{number}.on", is_on) for number, is_on in body.on.items())
    values.update((f"input.{number}.closed", body.switches.is_closed(number)) for number in body.inputs)
    for number in body.energy_wh:
        values.update((f"meter.{number}.{name}", value) for name, value in _meter(body, number, now_s, seed))
    group = "led" if "led.supply_v" in body.truth else "dimmer"
    values.update((f"{group}.{number}.level_pct", level) for number, level in body.level_pct.items())
    values.update(_whole(body, now_s, seed, plate_is_on=plate_is_on))
    return {name: value for name, value in values.items() if name in body.truth}


def _meter(body: Body, number: int, now_s: float, seed: int) -> Iterator[tuple[str, Value]]:
    nature = body.nature
    mains_v = as_number(body.truth.get(f"meter.{number}.voltage_v", 0))
    voltage_v = round(mains_v + nature.voltage_noise_v * noise(seed, f"voltage {number}", now_s), 1)
    watts, load = body.watts(number), body.loads.get(number)
    by_noise = noise(seed, f"power {number}", now_s)
    power_w = watts * (1 + nature.power_noise * by_noise) if watts else abs(STRAY_W * by_noise)
    yield "power_w", round(power_w, 1)
    yield "voltage_v", voltage_v
    yield (
        "current_a",
        0.0 if load is None or not watts or not voltage_v else round(load.current_a(power_w, voltage_v), 3),
    )
    yield "power_factor", 1.0 if load is None or not watts else load.power_factor
    yield "energy_wh", int(body.energy_wh[number])


def _whole(body: Body, now_s: float, seed: int, *, plate_is_on: bool) -> Iterator[tuple[str, Value]]:
    nature = body.nature
    if body.position_pct is not None:
        yield "shutter.position_pct", round(body.position_pct)
    if "led.supply_v" in body.truth:
        supply_v = as_number(body.truth["led.supply_v"])
        yield "led.supply_v", round(supply_v - FEED_OHM * body.load_w / max(supply_v, 1.0), 2)
    warmth_c = body.temperature_c + nature.temperature_noise_k * noise(seed, "temperature", now_s)
    yield "health.temperature_c", quantised(warmth_c, nature.temperature_step_k)
    yield "health.uptime_s", int(now_s - body.up_since_s)
    yield "health.restarts", body.restarts
    open_dbm = as_number(body.truth["net.rssi_dbm"]) + nature.rssi_noise_db * noise(seed, "signal", now_s)
    rssi_dbm = open_dbm - (nature.plate_loss_db if plate_is_on else 0.0)
    yield "net.rssi_dbm", min(HIGHEST_DBM, max(LOWEST_DBM, round(rssi_dbm)))
