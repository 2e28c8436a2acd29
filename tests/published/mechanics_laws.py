"""All laws the mechanics runner knows."""

from tests.published.mechanics_bend_laws import BEND_LAWS, LIFE_LAWS
from tests.published.mechanics_chip_laws import CHIP_LAWS
from tests.published.mechanics_engine import Law
from tests.published.mechanics_force_laws import FORCE_LAWS
from tests.published.mechanics_hold_laws import HOLD_LAWS
from tests.published.mechanics_motion_laws import MOTION_LAWS
from tests.published.mechanics_power_laws import POWER_LAWS, SPINDLE_LAWS
from tests.published.mechanics_stability_laws import STABILITY_LAWS

LAWS: list[Law] = [
    *FORCE_LAWS, *POWER_LAWS, *SPINDLE_LAWS, *CHIP_LAWS, *STABILITY_LAWS, *BEND_LAWS, *LIFE_LAWS, *MOTION_LAWS, *HOLD_LAWS,
]  # fmt: skip
