"""All laws the mechanics runner knows."""

from tests.published.mechanics_chip_laws import CHIP_LAWS
from tests.published.mechanics_engine import Law
from tests.published.mechanics_force_laws import FORCE_LAWS
from tests.published.mechanics_power_laws import POWER_LAWS, SPINDLE_LAWS

LAWS: list[Law] = FORCE_LAWS + POWER_LAWS + SPINDLE_LAWS + CHIP_LAWS
